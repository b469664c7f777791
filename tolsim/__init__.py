"""Sizes, fits and tolerance bands of bearing seats, decided from what the shops really make."""

__version__ = "0.1.0"
