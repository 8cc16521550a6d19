"""What to fit in place of parts of a board."""
