"""What of a drawer may stand in place of a part: words, tables, JSON."""
