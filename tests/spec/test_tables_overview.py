"""The overview of a table: what each column holds before anything is asked of it."""

from __future__ import annotations

from pathlib import Path

from tolsim.spec.overview import overview
from tolsim.spec.tables import read_table


def test_columns_are_told_apart(tmp_path: Path) -> None:
    """Readings, places, seats, states, names and empty columns are recognised."""
    path = tmp_path / "a.csv"
    path.write_text(
        "id;side;bore_mm;z2 a90_um;age_h;lot;remark;spare\n"
        "1;L;36,978;-22,5;72;a;NA;\n"
        "2;R;36,980;-20;72;a;;\n"
        "3;L;OK;-21;72;b;;\n"
        "4;R;1.234,5;-21;72;b;;\n"
    )
    got = {c.name: c for c in overview(read_table(path, shown="a.csv"))}
    assert {name: c.may_be for name, c in got.items()} == {
        "id": "one name or number a row",
        "side": "seats",
        "bore_mm": "readings",
        "z2 a90_um": "readings at depth 2 mm, angle 90 deg",
        "age_h": "state: age",
        "lot": "seats",
        "remark": "one name or number a row",
        "spare": "nothing",
    }
    bore = got["bore_mm"]
    assert (bore.numbers, bore.texts, bore.empty, bore.mark) == (3, 1, 0, ",")
    assert (bore.low, bore.high, bore.words, bore.unit) == (36.978, 1234.5, ("OK",), "mm")
    assert (got["age_h"].unit, got["age_h"].distinct, got["spare"].low) == ("h", 1, None)


def test_a_comma_before_three_digits_is_decimal_first(tmp_path: Path) -> None:
    """36,972 is 36.972 rather than 36972; that it may be either is told."""
    path = tmp_path / "a.csv"
    path.write_text("bore_mm;n\n36,972;1\n36,974;2\n")
    bore, count = overview(read_table(path, shown="a.csv"))
    assert (bore.low, bore.high, bore.mark, bore.either) == (36.972, 36.974, ",", True)
    assert not count.either
