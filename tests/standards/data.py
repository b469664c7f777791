"""Published tables kept with the tests: what the package has to reproduce."""

from __future__ import annotations

import csv
from functools import cache
from pathlib import Path

HERE = Path(__file__).parent.parent / "published" / "data"


@cache
def published(name: str) -> tuple[dict[str, str], ...]:
    """Rows of ``standards_<name>.csv``."""
    with (HERE / f"standards_{name}.csv").open(encoding="utf-8", newline="") as lines:
        return tuple(csv.DictReader(lines))


def um(cell: str) -> float:
    """Micrometres of a cell in mm, the nearest float to the decimal number."""
    return float(cell) / 1000.0
