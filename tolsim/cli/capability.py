"""``tolsim capability``."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from tolsim.cli.maker_files import Roles, only_column, read_maker
from tolsim.cli.options import VERDICT_CODES, PerCent, emit_json, json_option, write_text
from tolsim.errors import Problem, SpecError, UsageError

__all__ = ["command"]


@click.command()
@click.argument("files", nargs=-1, required=True, type=str)
@click.option("--nominal", type=float, default=37.0, show_default=True, help="Nominal size [mm].")
@click.option("--column", default=None, help="Column of sizes; found by its unit where only one.")
@click.option("--depth", default=None, help="Column of depths, of several readings a bore.")
@click.option("--angle", default=None, help="Column of angles, of several readings a bore.")
@click.option("--side", default=None, help="Column of the seat.")
@click.option("--unit", default=None, help="Column of the unit (frame).")
@click.option("--lot", default=None, help="Column of the lot.")
@click.option("--order", default=None, help="Column of the order of manufacture.")
@click.option("--sheet", default=None, help="Sheet of a workbook.")
@click.option("--band", nargs=2, type=float, default=None, help="Drawing limits [µm from nominal].")
@click.option(
    "--gauge-sd",
    type=click.FloatRange(min=0.0),
    default=None,
    help="Repeatability [µm], taken out of the spread; without it that of the gauge study.",
)
@click.option(
    "--gauge-study",
    type=click.Path(path_type=Path, dir_okay=False),
    default=None,
    help="Readings of a gauge study: columns part, appraiser, and the size.",
)
@click.option("--confidence", type=click.FloatRange(0.5, 0.9999), default=0.95, show_default=True)
@click.option("--target-index", type=click.FloatRange(min=0.0), default=None)
@click.option("--target-share", type=PerCent(), default=None)
@click.option("--toml", "as_toml", is_flag=True, help="Print the route step of each file.")
@click.option(
    "--figure",
    type=click.Path(path_type=Path, dir_okay=False),
    default=None,
    help="Write box-and-whisker of all makers (SVG).",
)
@json_option
def command(
    files: tuple[str, ...],
    nominal: float,
    column: str | None,
    depth: str | None,
    angle: str | None,
    side: str | None,
    unit: str | None,
    lot: str | None,
    order: str | None,
    sheet: str | None,
    band: tuple[float, float] | None,
    gauge_sd: float | None,
    gauge_study: Path | None,
    confidence: float,
    target_index: float | None,
    target_share: float | None,
    as_toml: bool,
    figure: Path | None,
    as_json: bool,
) -> int:
    """Say what the parts of one or several makers can and cannot say.

    FILES are CSV or XLSX, each ``path`` or ``path:nominal`` where nominal sizes differ; the
    makers are normalised to µm from their nominal.
    """
    from tolsim.answers.capability import capability
    from tolsim.report.capability import capability_payload, capability_text, route_step

    if band is not None and not band[0] < band[1]:
        raise UsageError("--band takes the lower limit first")
    makers: list[tuple[str, Any]] = []
    roles: Roles = {
        "column": column,
        "depth": depth,
        "angle": angle,
        "side": side,
        "unit": unit,
        "lot": lot,
        "order": order,
        "sheet": sheet,
    }
    columns: list[Roles] = []
    paths: list[Path] = []
    problems: list[Problem] = []
    for given in files:
        path, own = _path_and_nominal(given, nominal)
        paths.append(path)
        try:
            readings, taken = read_maker(path, own, roles, gauge_sd=1e-3 * (gauge_sd or 0.0))
        except SpecError as error:
            problems += error.problems
            continue
        columns.append(taken)
        name = path.stem
        while name in [m[0] for m in makers]:
            name += "'"
        makers.append((name, readings))
    study = None
    if gauge_study is not None:
        try:
            study = _study(gauge_study, nominal, confidence)
        except SpecError as error:
            problems += error.problems
    if problems:
        raise SpecError(problems)
    if gauge_sd is None:
        gauge_sd = 0.0 if study is None else 1e3 * float(study.repeatability.value)
    answer = capability(
        makers,
        band=None if band is None else (1e-3 * band[0], 1e-3 * band[1]),
        gauge_sd=1e-3 * gauge_sd,
        confidence=confidence,
        target_index=target_index,
        target_share=target_share,
    )
    payload = capability_payload(answer, study, gauge_sd_um=gauge_sd)
    if figure is not None:
        from tolsim.report.capability import makers_figure

        write_text(figure, makers_figure(payload), inputs=tuple(paths))
    if as_json:
        emit_json(payload)
    elif as_toml:
        for path, m, taken in zip(paths, payload["makers"], columns, strict=True):
            click.echo(route_step(m, file=path.name, columns=taken, gauge_sd_um=gauge_sd))
    else:
        click.echo(capability_text(payload), nl=False)
    return int(VERDICT_CODES[answer.verdict])


def _path_and_nominal(given: str, nominal: float) -> tuple[Path, float]:
    head, colon, tail = given.rpartition(":")
    if colon and head:
        try:
            return Path(head), float(tail)
        except ValueError:
            pass
    return Path(given), nominal


def _study(path: Path, nominal: float, confidence: float) -> Any:
    from tolsim.process.gauge_study import gauge_study
    from tolsim.spec.files import shown_path
    from tolsim.spec.readings import read_readings

    shown, column = shown_path(path), only_column(path)
    # parts are read again and again here, so they are no units; the two columns are two readings
    part, appraiser = (
        read_readings(path, shown=shown, column=column, nominal_mm=nominal, lot=role)
        for role in ("part", "appraiser")
    )
    assert part.lot is not None
    try:
        return gauge_study(part.deviation, part.lot, appraiser.lot, confidence=confidence)
    except ValueError as e:
        raise SpecError([Problem(file=shown, message=str(e))]) from e
