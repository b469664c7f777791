"""Options that several commands share, and how they print."""

from __future__ import annotations

import atexit
import json
import os
import sys
import tempfile
import time
from collections.abc import Callable, Iterable
from decimal import Decimal, InvalidOperation
from hashlib import sha256
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

import click

from tolsim.errors import ExitCode, UsageError

if TYPE_CHECKING:
    from rich.progress import Progress

    from tolsim.spec.files import Source

__all__ = [
    "VERDICT_CODES",
    "Count",
    "PerCent",
    "allow_outside_option",
    "emit_json",
    "json_option",
    "not_an_input",
    "progress_on_stderr",
    "seed_option",
    "workers_option",
    "write_text",
]

F = TypeVar("F", bound=Callable[..., Any])


class PerCent(click.ParamType[float]):
    """A share written as 10% or 0.1."""

    name = "share"

    def convert(
        self, value: Any, param: click.Parameter | None, ctx: click.Context | None
    ) -> float:
        """Turn the text into a number between 0 and 1."""
        if isinstance(value, float):
            return value
        text = str(value).strip()
        try:
            number = float(text.rstrip("% ")) / (100.0 if text.endswith("%") else 1.0)
        except ValueError:
            number = -1.0
        if not 0.0 < number < 1.0:
            self.fail(f"{text!r} is no share between 0 and 1, such as 10% or 0.1", param, ctx)
        return number


class Count(click.IntRange):
    """A whole number in a range, also written as 1e6 or 1_000_000."""

    name = "count"

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> int:
        """Turn the text into the number it stands for."""
        try:
            number = Decimal(str(value).replace("_", ""))
            whole = number.is_finite() and abs(number.adjusted()) < 20 and number % 1 == 0
        except InvalidOperation:
            whole = False
        if not whole:
            self.fail(f"{str(value)!r} is no whole number, such as 1000000 or 1e6", param, ctx)
        return int(super().convert(int(number), param, ctx))


VERDICT_CODES = {
    "met": ExitCode.MET,
    "missed": ExitCode.MISSED,
    "undecided": ExitCode.UNDECIDED,
    None: ExitCode.MET,
}


def json_option(f: F) -> F:
    """``--json``: one document on standard output, nothing else there."""
    return click.option("--json", "as_json", is_flag=True, help="One JSON document, nothing else.")(
        f
    )


def seed_option(f: F) -> F:
    """``--seed``: of every stream; 0 is a seed like any other."""
    return click.option(
        "--seed", type=click.IntRange(min=0), default=1, show_default=True, help="Of every stream."
    )(f)


def workers_option(f: F) -> F:
    """``--workers``: processes or threads; the answer does not depend on them."""
    return click.option(
        "--workers",
        type=click.IntRange(min=1, max=256),
        default=None,
        help="Processes or threads; the answer does not depend on them.  [default: all cores]",
    )(f)


def allow_outside_option(f: F) -> F:
    """``--allow-outside``: follow names out of the study's folder."""
    return click.option(
        "--allow-outside",
        is_flag=True,
        help="Read files outside the study's folder and specs/ too.",
    )(f)


def cores() -> int:
    """Cores that this process may use."""
    try:
        return len(os.sched_getaffinity(0))
    except AttributeError:
        return os.cpu_count() or 1


def emit_json(payload: dict[str, Any]) -> None:
    """Write one JSON document to standard output."""
    sys.stdout.write(json.dumps(payload, indent=2, allow_nan=False, ensure_ascii=False) + "\n")


def write_text(path: Path, text: str | bytes, *, inputs: tuple[Path, ...] = ()) -> None:
    """Write a file whole or not at all, never over an input.

    Raises
    ------
    UsageError
        If `path` is an input, or cannot be written.
    """
    if any(path.exists() and p.exists() and path.samefile(p) for p in inputs):
        raise UsageError(f"{path.name} is an input of this run; choose another name")
    data = text.encode() if isinstance(text, str) else text
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        handle, temporary = tempfile.mkstemp(dir=path.parent, prefix=".tolsim-")
    except OSError as e:
        raise UsageError(f"cannot write {path.name}: {e.strerror}") from e
    try:
        with os.fdopen(handle, "wb") as f:
            f.write(data)
            f.flush()
            os.fsync(f.fileno())
        os.chmod(temporary, 0o644)
        os.replace(temporary, path)
    except OSError as e:
        Path(temporary).unlink(missing_ok=True)
        raise UsageError(f"cannot write {path.name}: {e.strerror}") from e


def not_an_input(path: Path, sources: Iterable[Source]) -> None:
    """Refuse to write over a file that a run has read, by whatever name it is called.

    Raises
    ------
    UsageError
        If the file that is there holds what one of the sources held.
    """
    if path.is_file() and sha256(path.read_bytes()).hexdigest() in {s.sha256 for s in sources}:
        raise UsageError(f"{path.name} is an input of this run; choose another name")


def progress_on_stderr(what: str, *, quiet: bool) -> Callable[[int, int], None] | None:
    """Progress on standard error: a line that renews itself on a terminal, else one in 30 s."""
    if quiet:
        return None
    if sys.stderr.isatty():
        return _bar(what)
    last = time.monotonic()

    def tell(done: int, total: int) -> None:
        nonlocal last
        now = time.monotonic()
        if now - last > 30.0:
            last = now
            sys.stderr.write(f"{what}: {100 * done // max(1, total)} %\n")
            sys.stderr.flush()

    return tell


def _bar(what: str) -> Callable[[int, int], None]:
    begun = last = time.monotonic()
    shown: Progress | None = None

    def tell(done: int, total: int) -> None:
        nonlocal last, shown
        now, finished = time.monotonic(), done >= total
        if shown is None and not finished and now - begun > 0.5:
            shown = _started(what, total)
        if shown is not None and (now - last > 0.2 or finished):
            last = now
            shown.update(shown.task_ids[0], completed=done, total=total)
            shown.refresh()
            if finished:
                shown.stop()
                shown = None

    return tell


def _started(what: str, total: int) -> Progress:
    from rich.console import Console
    from rich.progress import BarColumn, Progress, TaskProgressColumn, TextColumn
    from rich.progress import TimeRemainingColumn as Rest

    shown = Progress(
        TextColumn("{task.description}"),
        BarColumn(),
        TaskProgressColumn(),
        Rest(),
        console=Console(stderr=True),
        transient=True,
        auto_refresh=False,  # a thread of its own would keep the run from forking
        redirect_stdout=False,
        redirect_stderr=False,
    )
    shown.add_task(what, total=total)
    shown.start()
    atexit.register(shown.stop)  # an interrupted run gives the cursor back
    return shown
