"""What a check, a map and an outlook found: tables of words, and JSON records."""
