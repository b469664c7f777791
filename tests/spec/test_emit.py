"""What is written loads as the same record."""

from __future__ import annotations

from pathlib import Path

import pytest

from tolsim.spec.document import parse
from tolsim.spec.emit import emit
from tolsim.spec.parts import PART_KINDS
from tolsim.spec.study import StudySpec

ROOT = Path(__file__).parents[2]
PARTS = sorted((ROOT / "specs").glob("*/*.toml"))
STUDIES = sorted((ROOT / "studies").glob("*/study.toml"))


@pytest.mark.parametrize("path", PARTS, ids=lambda p: p.stem)
def test_parts(path: Path) -> None:
    """Every shipped part survives being written and read."""
    raw = parse(path.read_text(), path.name)
    record = PART_KINDS[raw["part"]].model_validate(raw)
    again = type(record).model_validate(parse(emit(record), path.name))
    _same(record.model_dump(), again.model_dump())


@pytest.mark.parametrize("path", STUDIES, ids=lambda p: p.parent.name)
def test_studies(path: Path) -> None:
    """Every shipped study survives being written and read."""
    record = StudySpec.model_validate(parse(path.read_text(), path.name))
    again = StudySpec.model_validate(parse(emit(record), path.name))
    _same(record.model_dump(), again.model_dump())


def _same(a: object, b: object) -> None:
    if isinstance(a, dict):
        assert isinstance(b, dict)
        assert a.keys() == b.keys()
        for key in a:
            _same(a[key], b[key])
    elif isinstance(a, tuple | list):
        assert isinstance(b, tuple | list)
        assert len(a) == len(b)
        for x, y in zip(a, b, strict=True):
            _same(x, y)
    elif isinstance(a, float):
        assert b == pytest.approx(a, rel=1e-9, abs=1e-12)
    else:
        assert a == b
