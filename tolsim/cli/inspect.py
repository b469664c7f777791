"""``tolsim inspect``."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from tolsim.cli.options import emit_json, json_option
from tolsim.errors import ExitCode, UsageError

if TYPE_CHECKING:
    from tolsim.spec.overview import ColumnOverview
    from tolsim.spec.readings import Readings
    from tolsim.spec.tables import Table

__all__ = ["command"]

_SHOWN_ROWS = 20


@click.command()
@click.argument("file", type=click.Path(path_type=Path))
@click.option("--sheet", help="Sheet of a workbook.")
@click.option("--column", help="Column of readings; needs --nominal.")
@click.option("--nominal", type=float, help="Nominal size in mm.")
@click.option("--side", help="Column that names the seat.")
@click.option("--unit", help="Column that names the unit (frame).")
@click.option("--lot", help="Column that names the lot.")
@click.option("--order", help="Column with the order of manufacture.")
@click.option("--band", nargs=2, type=float, help="Drawing limits [µm from nominal].")
@click.option("--gauge-sd", type=click.FloatRange(min=0.0), help="Repeatability [µm].")
@json_option
def command(
    file: Path,
    sheet: str | None,
    column: str | None,
    nominal: float | None,
    side: str | None,
    unit: str | None,
    lot: str | None,
    order: str | None,
    band: tuple[float, float] | None,
    gauge_sd: float | None,
    as_json: bool,
) -> int:
    """Show how a file of readings is understood, and which rows are left out.

    FILE is a CSV or XLSX file. Without --column its columns are listed; with --column and
    --nominal it is read as a study would read it.
    """
    from tolsim.spec.files import shown_path
    from tolsim.spec.readings import read_readings
    from tolsim.spec.tables import read_table

    if (column is None) != (nominal is None):
        raise UsageError("--column and --nominal go together: a size needs its nominal")
    roles = {"side": side, "unit": unit, "lot": lot, "order": order}
    if column is None and any(roles.values()):
        raise UsageError("--side, --unit, --lot and --order need --column and --nominal")
    if (band is None) != (gauge_sd is None):
        raise UsageError("--band and --gauge-sd go together: a gauge is judged against a band")
    if band is not None and (column is None or not band[0] < band[1]):
        raise UsageError("--band needs --column, and a lower limit below the upper")
    if nominal is not None and not 0.0 <= nominal <= 1e4:
        raise UsageError(f"--nominal is a size in mm from 0 to 10000, got {nominal:g}")
    shown = shown_path(file)
    if column is None or nominal is None:
        table = read_table(file, shown=shown, sheet=sheet)
        payload, text = _table_payload(table), _table_text
    else:
        readings = read_readings(
            file,
            shown=shown,
            column=column,
            nominal_mm=nominal,
            side=side,
            unit=unit,
            lot=lot,
            order=order,
            sheet=sheet,
        )
        payload, text = _readings_payload(readings), _readings_text
        payload["readings"]["gauge"] = _gauge(band, gauge_sd)
        payload["readings"]["notes"] += _gauge_notes(band, gauge_sd)
    if as_json:
        emit_json(payload)
    else:
        from tolsim.report.numbers import clean

        click.echo(clean(text(payload)))
    return int(ExitCode.MET)


def _table_payload(table: Table) -> dict[str, Any]:
    from tolsim.spec.overview import overview

    def entry(c: ColumnOverview) -> dict[str, Any]:
        return {
            "name": c.name,
            "unit": c.unit,
            "cells": c.cells,
            "numbers": c.numbers,
            "texts": c.texts,
            "empty": c.empty,
            "distinct": c.distinct,
            "low": c.low,
            "high": c.high,
            "decimal_mark": c.mark,
            "either_mark": c.either,
            "words": list(c.words),
            "may_be": c.may_be,
        }

    return {
        "schema": "tolsim/inspection/1",
        "file": table.shown,
        "sha256": table.sha256,
        "understood": list(table.understood),
        "rows": len(table.rows),
        "columns": [entry(c) for c in overview(table)],
        "readings": None,
    }


def _readings_payload(r: Readings) -> dict[str, Any]:
    seats = {name: len(v) for name, v in r.by_seat().items()} if r.side is not None else None
    return {
        "schema": "tolsim/inspection/1",
        "file": r.shown,
        "sha256": r.sha256,
        "understood": list(r.understood),
        "rows": r.rows_in,
        "columns": None,
        "readings": {
            "column": r.column,
            "nominal_mm": r.nominal_mm,
            "rows_in": r.rows_in,
            "used": len(r),
            "excluded": [
                {"row": e.row, "column": e.column, "found": e.found, "reason": e.reason}
                for e in r.excluded
            ],
            "seats": seats,
            "complete_units": len(r.paired_rows()) if r.seats is not None else None,
            "lots": None if r.lot is None else len(set(r.lot)),
            "lowest_um": 1e3 * float(r.deviation.min()),
            "highest_um": 1e3 * float(r.deviation.max()),
            "step_um": 1e3 * r.resolution_mm,
            "state": {
                "age_h": r.state.age,
                "temperature_C": r.state.temperature,
                "coated": r.state.coated,
                "size": r.state.size,
            },
            "notes": list(r.notes),
        },
    }


def _gauge(band: tuple[float, float] | None, gauge_sd: float | None) -> dict[str, Any] | None:
    """The gauge against the band, where both are given in um."""
    if band is None or gauge_sd is None:
        return None
    from tolsim.process.gauge_share import gauge_share

    return {"repeatability_um": gauge_sd, "band_um": band, "share": gauge_share(gauge_sd, band)}


def _gauge_notes(band: tuple[float, float] | None, gauge_sd: float | None) -> list[str]:
    from tolsim.process.gauge_share import gauge_note, gauge_share

    if band is None or gauge_sd is None:
        return []
    share = gauge_share(gauge_sd, band)
    return [
        gauge_note(gauge_sd, band)
        or f"the gauge takes {100.0 * share:.0f} % of the band (six standard deviations)"
    ]


def _table_text(payload: dict[str, Any]) -> str:
    from tolsim.spec.cells import counted

    lines = [payload["file"], *(f"  {fact}" for fact in payload["understood"]), ""]
    columns = payload["columns"]
    rows = counted(payload["rows"], "row")
    lines.append(f"{rows} below the header, {counted(len(columns), 'named column')}")
    for c in columns:
        lines.append("")
        unit = f" [{c['unit']}]" if c["unit"] else ""
        lines.append(f"  {c['name']}{unit}: {c['may_be']}")
        counts = f"{counted(c['numbers'], 'number')}, {counted(c['texts'], 'text')}"
        lines.append(f"      {counts}, {c['empty']} empty; {c['distinct']} different")
        if c["low"] is not None:
            mark = {".": ", decimal point", ",": ", decimal comma", None: ""}[c["decimal_mark"]]
            other = ", or a mark of thousands: the nominal size decides" if c["either_mark"] else ""
            lines.append(f"      {c['low']:.10g} to {c['high']:.10g}{mark}{other}")
        if c["numbers"] and c["words"]:
            lines.append(f"      among the numbers: {', '.join(c['words'])}")
    return "\n".join(lines)


def _readings_text(payload: dict[str, Any]) -> str:
    r = payload["readings"]
    from tolsim.spec.cells import counted

    lines = [payload["file"], *(f"  {fact}" for fact in payload["understood"]), ""]
    lines.append(
        f"{r['used']} readings from {r['lowest_um']:+.6g} to {r['highest_um']:+.6g} um of "
        f"{r['nominal_mm']:g} mm, written in steps of {r['step_um']:.6g} um"
    )
    if r["seats"] is not None:
        seats = ", ".join(f"{name} {count}" for name, count in r["seats"].items())
        pairs = r["complete_units"]
        lines.append(
            f"seats: {seats}" + ("" if pairs is None else f"; {counted(pairs, 'complete unit')}")
        )
    if r["lots"] is not None:
        lines.append(f"lots: {r['lots']}")
    lines += [f"note: {note}" for note in r["notes"]]
    excluded = r["excluded"]
    if excluded:
        lines += ["", f"{len(excluded)} of {r['rows_in']} rows excluded"]
    for e in excluded[:_SHOWN_ROWS]:
        where = f"{e['column']}: " if e["column"] else ""
        found = f" ({e['found']})" if e["found"] else ""
        lines.append(f"  row {e['row']}: {where}{e['reason']}{found}")
    if len(excluded) > _SHOWN_ROWS:
        lines.append(f"  and {len(excluded) - _SHOWN_ROWS} more; --json lists all")
    return "\n".join(lines)
