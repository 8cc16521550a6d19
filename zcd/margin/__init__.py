"""How well a board holds: rules, tolerances, corners, populations, ageing, maps."""
