"""Quantities of one unit put together from others."""

from __future__ import annotations

from tolsim.joint.latent import Source
from tolsim.process.base import Process

__all__ = ["mapped", "plus", "scaled"]


def mapped(process: Process, row: Source) -> Source:
    """The size that a row stands for."""
    return lambda z: process.size(row(z))


def plus(base: Source, more: Source) -> Source:
    """The sum of two quantities."""
    return lambda z: base(z) + more(z)


def scaled(row: Source, factor: float) -> Source:
    """A quantity times a constant."""
    return lambda z: row(z) * factor
