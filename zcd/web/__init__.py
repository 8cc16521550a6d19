"""The local page: its guard, its state, its pages, its workers."""
