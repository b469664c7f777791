"""``tolsim check``."""

from __future__ import annotations

from pathlib import Path

import click

from tolsim.cli.options import allow_outside_option, emit_json, json_option
from tolsim.errors import ExitCode, Problem, SpecError

__all__ = ["command"]


@click.command()
@click.argument("paths", nargs=-1, required=True, type=click.Path(path_type=Path, allow_dash=True))
@json_option
@allow_outside_option
def command(paths: tuple[Path, ...], as_json: bool, allow_outside: bool) -> int:
    """Print every fault of studies or parts and of every file that they pull in.

    PATHS are study.toml files, folders that hold one, part files, or - for standard input.
    """
    problems: list[Problem] = []
    good: list[str] = []
    for path in paths:
        try:
            good.append(_check(path, allow_outside))
        except SpecError as e:
            problems.extend(e.problems)
    problems = list(dict.fromkeys(problems))
    if as_json:
        emit_json(
            {
                "schema": "tolsim/check/1",
                "checked": [str(p) for p in paths],
                "problems": [
                    {
                        "file": p.file,
                        "line": p.line,
                        "key": p.key,
                        "message": p.message,
                        "found": p.found,
                        "allowed": p.allowed,
                        "closest": p.closest,
                    }
                    for p in problems
                ],
            }
        )
        return int(ExitCode.INVALID if problems else ExitCode.MET)
    for text in good:
        click.echo(text)
    if problems:
        raise SpecError(problems)
    return int(ExitCode.MET)


def _check(path: Path, allow_outside: bool) -> str:
    from tolsim.spec.document import parse
    from tolsim.spec.files import read_capped, shown_path
    from tolsim.spec.load import load_part, load_study

    if str(path) != "-" and path.is_file():
        shown = shown_path(path)
        raw = parse(read_capped(path, shown)[0], shown)
        if "part" in raw or ("joint" not in raw and "basis" in raw):
            part = load_part(path, allow_outside=allow_outside)
            return f"{shown}: a {getattr(part, 'part', 'part')}, no fault found"
    study = load_study(path, allow_outside=allow_outside)
    n = len(study.sources)
    return f"{study.name}: no fault found in {n} file{'s' if n != 1 else ''}"
