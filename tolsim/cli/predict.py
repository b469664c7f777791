"""``tolsim predict``."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from tolsim.cli.options import (
    VERDICT_CODES,
    Count,
    PerCent,
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

if TYPE_CHECKING:
    pass

__all__ = ["command"]


@click.command()
@click.argument("study", type=click.Path(path_type=Path, allow_dash=True))
@click.option(
    "--draws",
    type=Count(min=1, max=10**12),
    default=2**20,
    show_default=True,
    help="Units drawn of each combination of parts.",
)
@seed_option
@workers_option
@json_option
@click.option(
    "--figures",
    type=click.Path(path_type=Path, file_okay=False),
    default=None,
    help="Write the figures into this folder (SVG).",
)
@click.option(
    "--html",
    type=click.Path(path_type=Path, dir_okay=False),
    default=None,
    help="Write the page with its figures into one HTML file.",
)
@click.option(
    "--precision",
    type=PerCent(),
    default=None,
    help="Half-width of the simulation interval that is wanted, such as 10%: draws go on for it.",
)
@click.option(
    "--time-limit",
    type=click.FloatRange(min=0.0, min_open=True),
    default=None,
    help="Seconds after which no further draws are begun.",
)
@click.option(
    "--assumptions",
    is_flag=True,
    help="Rerun with every remembered constant at both ends of its range.",
)
@click.option("--plain", is_flag=True, help="Count only; no method for rare failures.")
@click.option("--no-progress", is_flag=True, help="No progress on standard error.")
@click.option("--exit-zero", is_flag=True, help="Leave with 0 whatever the verdict.")
@allow_outside_option
def command(
    study: Path,
    draws: int,
    seed: int,
    workers: int | None,
    as_json: bool,
    figures: Path | None,
    html: Path | None,
    precision: float | None,
    time_limit: float | None,
    assumptions: bool,
    plain: bool,
    no_progress: bool,
    exit_zero: bool,
    allow_outside: bool,
) -> int:
    """Predict which share of units will be loose, overly tight or misaligned.

    STUDY is study.toml, the folder that holds it, or - for standard input.
    """
    from tolsim.answers.assumptions import assumption_runs
    from tolsim.answers.predict import predict
    from tolsim.report.payload import assumption_payload, prediction_payload
    from tolsim.report.text import prediction_text
    from tolsim.spec.load import load_study

    loaded = load_study(study, allow_outside=allow_outside)
    if html is not None:
        not_an_input(html, loaded.sources)  # before the run, not after it
    progress = progress_on_stderr("drawing units", quiet=no_progress)
    prediction = predict(
        loaded,
        seed=seed,
        draws=draws,
        workers=workers or cores(),
        progress=progress,
        detail=figures is not None or html is not None,
        plain=plain,
        precision=precision,
        time_limit=time_limit,
    )
    payload = prediction_payload(prediction)
    if assumptions:
        runs = assumption_runs(
            loaded,
            prediction,
            workers=workers or cores(),
            progress=progress_on_stderr("ends of assumptions", quiet=no_progress),
        )
        payload["assumption_runs"] = assumption_payload(runs)
    if figures is not None:
        from tolsim.report.figures import prediction_figures

        for name, svg in prediction_figures(payload).items():
            not_an_input(figures / name, loaded.sources)
            write_text(figures / name, svg, inputs=(study,))
    if html is not None:
        from tolsim.report.html import prediction_html

        write_text(html, prediction_html(payload), inputs=(study,))
    if as_json:
        emit_json(payload)
    else:
        click.echo(prediction_text(payload), nl=False)
    return 0 if exit_zero else int(VERDICT_CODES[prediction.verdict])
