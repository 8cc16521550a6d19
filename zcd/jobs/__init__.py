"""A job from the first reading to its report: file, conversation, closing, demo."""
