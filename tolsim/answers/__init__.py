"""One module a question."""
