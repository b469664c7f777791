"""``tolsim window``."""

from __future__ import annotations

from pathlib import Path

import click

from tolsim.cli.options import (
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
from tolsim.errors import ExitCode, UsageError

__all__ = ["command"]


@click.command()
@click.argument("study", type=click.Path(path_type=Path, allow_dash=True))
@click.option(
    "--x",
    default="bore.diameter.mean",
    show_default=True,
    metavar="QUANTITY",
    help="FEATURE.mean or FEATURE.centre, such as bearing.outside.mean.",
)
@click.option(
    "--y",
    default="bore.diameter.sd",
    show_default=True,
    metavar="QUANTITY",
    help="Of the same feature .sd or .width; or a quantity of another one.",
)
@click.option("--x-range", nargs=2, type=float, default=None, help="Ends of x [µm, degrees].")
@click.option("--y-range", nargs=2, type=float, default=None, help="Ends of y [µm, degrees].")
@click.option(
    "--points",
    type=click.IntRange(3, 200),
    default=40,
    show_default=True,
    help="Grid points an axis.",
)
@click.option("--supply", default=None, metavar="NAME", help="Judge this supply's parts alone.")
@click.option(
    "--figure",
    type=click.Path(path_type=Path, dir_okay=False),
    default=None,
    help="Write the picture (SVG).",
)
@click.option("--toml", "as_toml", is_flag=True, help="Print the demand as a part file.")
@seed_option
@workers_option
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
    workers: int | None,
    as_json: bool,
    no_progress: bool,
    allow_outside: bool,
) -> int:
    """Show where the joint holds over two quantities, and what that demands of a supplier.

    Leaves with 1 where no box of both quantities meets all targets.
    """
    from tolsim.answers.window import window
    from tolsim.report.window import demand_sentence, window_payload, window_text
    from tolsim.report.window_toml import demand_toml
    from tolsim.spec.load import load_study

    if as_toml and as_json:
        raise UsageError("--toml and --json both want standard output; take one of them")
    loaded = load_study(study, allow_outside=allow_outside)
    if figure is not None:
        not_an_input(figure, loaded.sources)  # before the run, not after it
    answer = window(
        loaded,
        x,
        y,
        x_range=x_range,
        y_range=y_range,
        points=points,
        supply=supply,
        seed=seed,
        workers=workers or cores(),
        tell=progress_on_stderr("finding where units work", quiet=no_progress),
    )
    payload = window_payload(answer)
    if figure is not None:
        from tolsim.report.window_figure import window_figure

        write_text(figure, window_figure(payload), inputs=(study,))
    if as_json:
        emit_json(payload)
    elif as_toml:
        click.echo(demand_toml(payload, demand_sentence(payload)), nl=False)
    else:
        click.echo(window_text(payload), nl=False)
    return int(ExitCode.MET if answer.demand is not None else ExitCode.MISSED)
