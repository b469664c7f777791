"""Awkward and hostile files, built in memory so that no scanner trips over the repository."""
