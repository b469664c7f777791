"""Everything tolsim says no with: one base class, problems as data, exit codes."""

from __future__ import annotations

import difflib
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from enum import IntEnum

__all__ = [
    "ExitCode",
    "InternalError",
    "Interrupted",
    "Problem",
    "SpecError",
    "TolsimError",
    "UsageError",
    "closest",
]


class ExitCode(IntEnum):
    """What a command tells the shell; a public, stable enumeration."""

    MET = 0
    MISSED = 1
    USAGE = 2
    INVALID = 3
    UNDECIDED = 4
    INTERNAL = 70
    INTERRUPTED = 130


class TolsimError(Exception):
    """Base of every error that tolsim raises on purpose."""

    exit_code = ExitCode.INTERNAL


@dataclass(frozen=True, kw_only=True, slots=True)
class Problem:
    """One fault of a file: where it is, what stands there, what may stand there.

    ``where`` is ``file``, ``file:line`` or ``file:row:column``; ``key`` the path of the key
    (``diameter.route[1].sd_um``) or the name of a column, empty where the whole file is meant.
    """

    file: str
    line: int | None = None
    key: str = ""
    message: str
    found: str | None = None
    allowed: str | None = None
    closest: str | None = None

    @property
    def where(self) -> str:
        """File and line as a reader clicks them."""
        return self.file if self.line is None else f"{self.file}:{self.line}"

    def text(self) -> str:
        """The fault as lines of text, the first one for the eye, the rest for the hand."""
        head = f"{self.where}: {self.key + ': ' if self.key else ''}{self.message}"
        rows = [head]
        for label, value in (
            ("found", self.found),
            ("allowed", self.allowed),
            ("closest", self.closest),
        ):
            if value is not None:
                rows.append(f"    {label:<8} {value}")
        return "\n".join(rows)


class SpecError(TolsimError):
    """A specification, a study or a file of readings cannot be used; holds every fault found."""

    exit_code = ExitCode.INVALID

    def __init__(self, problems: Sequence[Problem]) -> None:
        self.problems: tuple[Problem, ...] = tuple(problems)
        super().__init__("\n".join(p.text() for p in self.problems))


class UsageError(TolsimError):
    """The command line asks for something that the study cannot give."""

    exit_code = ExitCode.USAGE


class InternalError(TolsimError):
    """A result that must not be trusted: the run ends and says which unit and row."""

    exit_code = ExitCode.INTERNAL


class Interrupted(TolsimError):
    """The user stopped the run; carries what had been done."""

    exit_code = ExitCode.INTERRUPTED


def closest(word: str, allowed: Iterable[str]) -> str | None:
    """Return the allowed word nearest to `word`, or None when nothing is near.

    >>> closest("sdd_um", ["mean_um", "sd_um"])
    'sd_um'
    """
    options = list(allowed)
    lowered = {o.lower(): o for o in reversed(options)}
    hits = difflib.get_close_matches(word.lower(), list(lowered), n=1, cutoff=0.6)
    return lowered[hits[0]] if hits else None
