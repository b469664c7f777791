"""What modes and verdicts are called."""

from __future__ import annotations

__all__ = ["MODE_WORDS", "VERDICT_WORDS"]

MODE_WORDS = {
    "loose": "loose",
    "tight": "overly tight",
    "misaligned": "misaligned",
    "bond": "bond lost",
    "creak": "creak",
}
VERDICT_WORDS = {"met": "MET", "missed": "MISSED", "undecided": "UNDECIDED", None: ""}
