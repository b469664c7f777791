"""Specifications and readings in, frozen records out, every complaint with its place."""
