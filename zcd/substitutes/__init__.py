"""Which other parts may stand in place of those of a board."""
