"""Stories of causes over time, and windings, in words, tables and JSON."""
