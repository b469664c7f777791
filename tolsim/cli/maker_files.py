"""What a maker's file of readings holds: sizes one a row, or several readings a bore."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

from tolsim.errors import UsageError

if TYPE_CHECKING:
    from tolsim.spec.readings import Readings

__all__ = ["Roles", "only_column", "read_maker"]

Roles = dict[str, str | bool | None]


def read_maker(
    path: Path, nominal: float, roles: Roles, *, gauge_sd: float = 0.0
) -> tuple[Readings, Roles]:
    """Readings of one maker, one a bore, and the roles of columns that were taken.

    Parameters
    ----------
    path, nominal
        File, and nominal size [mm].
    roles : dict
        Columns by role as stated: ``column``, ``depth``, ``angle``, ``side``, ``unit``, ``lot``,
        ``order``, ``sheet``. A column of sizes that is not stated is the one with a unit of
        length; where several columns name places the file is wide.
    gauge_sd : float
        Repeatability [mm] of one reading.

    Raises
    ------
    UsageError
        If the columns do not tell where the sizes stand.
    SpecError
        If the file does not hold such readings.
    """
    from tolsim.spec.files import shown_path
    from tolsim.spec.measured_parts import read_bore_or_size
    from tolsim.spec.readings import read_readings
    from tolsim.spec.route_steps import Readings as Step

    taken = dict(roles)
    if taken["column"] is None:
        depth, sheet = taken["depth"], taken["sheet"]
        taken |= _sizes(path, None if sheet is None else str(sheet), taken=depth)
    given: dict[str, Any] = {role: name for role, name in taken.items() if name is not None}
    if not given.keys() & {"depth", "angle", "wide"}:
        return read_readings(path, shown=shown_path(path), nominal_mm=nominal, **given), taken
    step = Step.model_validate(
        {"step": "readings", "file": path.name, "gauge_sd_um": 1e3 * gauge_sd, **given}
    )
    return read_bore_or_size(step, path, shown=shown_path(path), nominal_mm=nominal), taken


def only_column(path: Path) -> str:
    """The one column of a table that holds numbers in a unit of length.

    Raises
    ------
    UsageError
        If there is none, or more than one.
    """
    return str(_sizes(path, None, wide=False)["column"])


def _sizes(
    path: Path, sheet: str | None, *, taken: object = None, wide: bool = True
) -> dict[str, str | bool]:
    from tolsim.spec.files import shown_path
    from tolsim.spec.overview import length_columns
    from tolsim.spec.places import places_of
    from tolsim.spec.tables import read_table

    shown = shown_path(path)
    table = read_table(path, shown=shown, sheet=sheet)
    names = [n for n in length_columns(table) if n != taken]
    if len(names) == 1:
        return {"column": names[0]}
    if wide and taken is None and len(places_of(table, ())) > 1:
        return {"wide": True}
    told = (
        f"sizes may stand in {', '.join(names)}"
        if names
        else f"no name of {', '.join(n for n in table.header.names if n)} carries a unit of "
        "length over numbers"
    )
    hint = (
        "; of several readings a bore --depth and --angle name the places, or names of columns "
        "such as 'left z2 a90_mm'"
        if wide
        else ""
    )
    raise UsageError(f"{shown}: name the column of sizes with --column ({told}){hint}")
