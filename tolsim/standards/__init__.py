"""Published tables as CSV and the rules for reading them."""
