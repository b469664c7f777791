"""``tolsim compare``."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from tolsim.cli.options import (
    Count,
    allow_outside_option,
    cores,
    emit_json,
    json_option,
    not_an_input,
    progress_on_stderr,
    seed_option,
    workers_option,
    write_text,
)
from tolsim.errors import ExitCode, Problem, SpecError

if TYPE_CHECKING:
    from tolsim.spec.load import Study

__all__ = ["command"]

CODES = {
    "acceptable": ExitCode.MET,
    "not acceptable": ExitCode.MISSED,
    "not enough evidence": ExitCode.UNDECIDED,
    None: ExitCode.MET,  # nothing was asked
}


@click.command()
@click.argument(
    "studies",
    metavar="STUDY...",
    type=click.Path(path_type=Path, allow_dash=True),
    nargs=-1,
    required=True,
)
@click.option(
    "--draws",
    type=Count(min=8192, max=2**30),
    default=2**20,
    show_default=True,
    help="Units drawn once and built in every way.",
)
@seed_option
@workers_option
@json_option
@click.option(
    "--html",
    type=click.Path(path_type=Path, dir_okay=False),
    default=None,
    help="Write the page into one HTML file.",
)
@click.option(
    "--quick", is_flag=True, help="Rates, money and verdicts only: not what would decide."
)
@click.option("--plain", is_flag=True, help="Count only; no method for rare failures.")
@click.option("--no-progress", is_flag=True, help="No progress on standard error.")
@click.option("--exit-zero", is_flag=True, help="Leave with 0 whatever the verdict.")
@allow_outside_option
def command(
    studies: tuple[Path, ...],
    draws: int,
    seed: int,
    workers: int | None,
    as_json: bool,
    html: Path | None,
    quick: bool,
    plain: bool,
    no_progress: bool,
    exit_zero: bool,
    allow_outside: bool,
) -> int:
    """Compare a study with its [[alternative]]s, or several studies side by side.

    One STUDY is compared with its alternatives, its own joint being a choice where it has a name;
    of several, each is a choice. Leaves with 0 when a choice is acceptable, with 1 when none is,
    with 4 when the evidence does not say.
    """
    from tolsim.answers.compare import compare
    from tolsim.report.compare import comparison_payload, comparison_text

    loaded = _loaded(studies, allow_outside)
    if html is not None:
        for study in loaded:
            not_an_input(html, study.sources)  # before the run, not after it
    found = compare(
        loaded,
        seed=seed,
        draws=draws,
        workers=workers or cores(),
        plain=plain,
        deep=not quick,
        progress=progress_on_stderr("drawing units", quiet=no_progress),
    )
    payload = comparison_payload(found)
    if html is not None:
        from tolsim.report.compare import comparison_html

        write_text(html, comparison_html(payload), inputs=studies)
    if as_json:
        emit_json(payload)
    else:
        click.echo(comparison_text(payload), nl=False)
    return 0 if exit_zero else int(CODES[found.verdict])


def _loaded(paths: tuple[Path, ...], allow_outside: bool) -> list[Study]:
    """All studies, or the faults of all of them together."""
    from tolsim.spec.load import load_study

    out: list[Study] = []
    problems: dict[Problem, None] = {}
    for path in paths:
        try:
            out.append(load_study(path, allow_outside=allow_outside))
        except SpecError as error:
            # a part that several studies use is told once
            problems.update(dict.fromkeys(error.problems))
    if problems:
        raise SpecError(tuple(problems))
    return out
