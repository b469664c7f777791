"""``tolsim rank``."""

from __future__ import annotations

from pathlib import Path

import click

from tolsim.cli.options import (
    Count,
    allow_outside_option,
    emit_json,
    json_option,
    progress_on_stderr,
    seed_option,
)

__all__ = ["command"]


@click.command()
@click.argument("study", type=click.Path(path_type=Path, allow_dash=True))
@click.option(
    "--draws",
    type=Count(min=8192, max=2**24),
    default=2**18,
    show_default=True,
    help="Units counted first; rare failures are then drawn where they lie.",
)
@seed_option
@json_option
@click.option("--no-progress", is_flag=True, help="No progress on standard error.")
@allow_outside_option
def command(
    study: Path, draws: int, seed: int, as_json: bool, no_progress: bool, allow_outside: bool
) -> int:
    """Say which input is to blame, in moves that can be made, each rerun."""
    from tolsim.answers.rank import rank
    from tolsim.report.rank import rank_payload
    from tolsim.report.rank_text import rank_text
    from tolsim.spec.load import load_study

    loaded = load_study(study, allow_outside=allow_outside)
    answer = rank(
        loaded,
        seed=seed,
        draws=draws,
        tell=progress_on_stderr("moving one input at a time", quiet=no_progress),
    )
    payload = rank_payload(answer)
    if as_json:
        emit_json(payload)
    else:
        click.echo(rank_text(payload), nl=False)
    return 0
