"""``tolsim window``."""

from __future__ import annotations

from pathlib import Path

import click

from tolsim.cli.options import (
    allow_outside_option,
    emit_json,
    json_option,
    progress_on_stderr,
    seed_option,
    write_text,
)

__all__ = ["command"]


@click.command()
@click.argument("study", type=click.Path(path_type=Path, allow_dash=True))
@click.option("--x", default="bore.diameter.mean", show_default=True, help="As FEATURE.mean.")
@click.option("--y", default="bore.diameter.sd", show_default=True, help="As FEATURE.sd.")
@click.option("--x-range", nargs=2, type=float, default=None, help="Ends of x [µm].")
@click.option("--y-range", nargs=2, type=float, default=None, help="Ends of y [µm].")
@click.option("--points", type=click.IntRange(3, 200), default=40, show_default=True)
@click.option("--supply", default=None, help="Judge this supply's parts alone.")
@click.option(
    "--figure",
    type=click.Path(path_type=Path, dir_okay=False),
    default=None,
    help="Write the picture (SVG).",
)
@click.option("--toml", "as_toml", is_flag=True, help="Print the demand as a route step.")
@seed_option
@json_option
@click.option("--no-progress", is_flag=True, help="No progress on standard error.")
@allow_outside_option
def command(
    study: Path,
    x: str,
    y: str,
    x_range: tuple[float, float] | None,
    y_range: tuple[float, float] | None,
    points: int,
    supply: str | None,
    figure: Path | None,
    as_toml: bool,
    seed: int,
    as_json: bool,
    no_progress: bool,
    allow_outside: bool,
) -> int:
    """Show where the joint holds over two quantities, and what that demands of a supplier."""
    from tolsim.answers.window import window
    from tolsim.report.window import demand_step, window_figure, window_payload, window_text
    from tolsim.spec.load import load_study

    answer = window(
        load_study(study, allow_outside=allow_outside),
        x,
        y,
        x_range=None if x_range is None else (1e-3 * x_range[0], 1e-3 * x_range[1]),
        y_range=None if y_range is None else (1e-3 * y_range[0], 1e-3 * y_range[1]),
        points=points,
        supply=supply,
        seed=seed,
        tell=progress_on_stderr("points of the window", quiet=no_progress),
    )
    payload = window_payload(answer)
    if figure is not None:
        write_text(figure, window_figure(payload), inputs=(study,))
    if as_json:
        emit_json(payload)
    elif as_toml:
        click.echo(demand_step(payload), nl=False)
    else:
        click.echo(window_text(payload), nl=False)
    return 0
