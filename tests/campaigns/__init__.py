"""Long measurements of coverage: ``python -m tests.campaigns [name ...] [--reduced]``."""
