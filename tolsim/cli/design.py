"""``tolsim design``."""

from __future__ import annotations

import sys
from pathlib import Path

import click

from tolsim.cli.options import (
    allow_outside_option,
    cores,
    emit_json,
    json_option,
    seed_option,
    workers_option,
    write_text,
)
from tolsim.errors import ExitCode, UsageError

__all__ = ["command"]


@click.command()
@click.argument("study", type=click.Path(path_type=Path, allow_dash=True))
@seed_option
@workers_option
@json_option
@click.option(
    "--grid",
    type=click.FloatRange(min=0.01, max=100.0),
    default=1.0,
    show_default=True,
    help="Drawing grid of sizes [µm].",
)
@click.option("--quick", is_flag=True, help="Bands and their verification only.")
@click.option(
    "--write",
    "folder",
    type=click.Path(path_type=Path, file_okay=False),
    default=None,
    help="Write the parts and a study that predict can run into this folder.",
)
@click.option("--no-progress", is_flag=True, help="No progress on standard error.")
@allow_outside_option
def command(
    study: Path,
    seed: int,
    workers: int | None,
    as_json: bool,
    grid: float,
    quick: bool,
    folder: Path | None,
    no_progress: bool,
    allow_outside: bool,
) -> int:
    """Search for the cheapest bands and parts that meet the targets, and verify them.

    STUDY leaves freedom by [[choose]] and sets [targets]; [costs] and cost curves say what is
    cheap.
    """
    from tolsim.answers.design import design
    from tolsim.report.design import design_payload
    from tolsim.report.design_text import design_text
    from tolsim.spec.load import load_study

    loaded = load_study(study, allow_outside=allow_outside)
    if folder is not None and folder.exists() and any(folder.iterdir()):
        raise UsageError(f"{folder} is not empty; nothing was run")

    def tell(text: str) -> None:
        sys.stderr.write(text + "\n")
        sys.stderr.flush()

    answer = design(
        loaded,
        seed=seed,
        workers=workers or cores(),
        grid=1e-3 * grid,
        tell=None if no_progress else tell,
        deep=not quick,
    )
    payload = design_payload(answer)
    if folder is not None and answer.variant is not None:
        from tolsim.cli.written import written_study

        for name, text in written_study(answer.variant).items():
            write_text(folder / name, text)
    if as_json:
        emit_json(payload)
    else:
        click.echo(design_text(payload), nl=False)
    if answer.undecided:
        return int(ExitCode.UNDECIDED)
    return int(ExitCode.MET if answer.met else ExitCode.MISSED)
