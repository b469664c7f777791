"""Small studies written to disk, for tests that start from TOML text."""

from __future__ import annotations

from pathlib import Path

BORE = """\
part = "bore"
title = "made for a test"
basis = "assumed"
material = "steel-4130"
outside_diameter_mm = 46.0
seat_width_mm = 7.0
span_mm = 82.0
{more}
[diameter]
nominal_mm = 37.0
band_um = [{low}, {high}]
{route}
"""

BEARING = """\
part = "bearing"
title = "made for a test"
basis = "assumed"
bore_mm = 25.0
outside_diameter_mm = 37.0
width_mm = 7.0
[outside]
band_um = [-9, 0]
{route}
[clearance]
band_um = [13, 28]
"""

STUDY = """\
title = "made for a test"
[joint]
kind = "pressed"
bore = "bores/b"
bearing = "bearings/r"
{more}
[limits]
{limits}
"""


def machine(feature: str, mean: float, sd: float) -> str:
    """A route of one normal machine step."""
    return f'[[{feature}.route]]\nstep = "machine"\nmean_um = {mean}\nsd_um = {sd}\n'


def write(
    folder: Path,
    *,
    bore_route: str = "",
    bore_more: str = "",
    ring_route: str = "",
    study_more: str = "",
    limits: str = "loose = { interference_um = 0 }",
    low: float = -30.0,
    high: float = -10.0,
) -> Path:
    """Write a pressed study of one bore and one ring; returns its folder."""
    (folder / "bores").mkdir(parents=True, exist_ok=True)
    (folder / "bearings").mkdir(exist_ok=True)
    (folder / "bores" / "b.toml").write_text(
        BORE.format(more=bore_more, route=bore_route, low=low, high=high)
    )
    (folder / "bearings" / "r.toml").write_text(BEARING.format(route=ring_route))
    (folder / "study.toml").write_text(STUDY.format(more=study_more, limits=limits))
    return folder


def write_design(folder: Path, rest: str) -> Path:
    """A pressed study whose bore may be too loose and too tight, with targets and freedoms."""
    return write(
        folder,
        bore_route=machine("diameter", -20, 2),
        ring_route=machine("outside", -4.5, 1.2),
        limits=f"loose = {{ interference_um = 4 }}\ntight = {{ clearance_um = 2 }}\n{rest}",
    )
