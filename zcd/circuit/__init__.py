"""The circuit between nodes, built from a board; the one description that all read."""
