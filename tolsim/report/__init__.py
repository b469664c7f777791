"""One payload an answer and its writers."""
