"""What a diagnosis found, and the record of its job: words, tables, JSON, the conversation."""
