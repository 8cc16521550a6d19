"""Results as tables, sentences and dictionaries; terminal, HTML, PDF."""
