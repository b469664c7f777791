"""Speed and efficiency against goals, in one run: ``python -m tests.benchmarks [name ...]``."""
