"""ISO 286 against published limit tables, cell by cell, and against the rules behind the tables."""

from __future__ import annotations

import math

import pytest

from tests.standards.data import published, um
from tolsim.standards.sizes import (
    GRADES,
    fundamental_deviation,
    grade_width,
    letters,
    limits,
)

_JUST_OVER = 1.0 + 1e-9


def test_published_limits_are_reproduced_at_both_ends_of_their_step() -> None:
    """1159 published limits of 83 classes come out exactly, just over and at the end of a step."""
    wrong = []
    for row in published("limits"):
        sizes = (row["size_over_mm"], row["nominal_mm"], row["size_incl_mm"])
        for size in (max(float(sizes[0]) * _JUST_OVER, 1e-3), float(sizes[1]), float(sizes[2])):
            got = limits(size, row["tolerance_class"])
            if (got.lower, got.upper) != (um(row["lower_um"]), um(row["upper_um"])):
                wrong.append((size, row["tolerance_class"], got.lower, got.upper, row["source"]))
    assert wrong == []
    assert len(published("limits")) == 1159


def test_misprinted_limits_are_not_taken_over() -> None:
    """Where a source misprints a limit, the value is the one that its grade and the rule give."""
    rows = [r for r in published("misprints") if r["what"] == "limits"]
    assert len(rows) == 8
    for row in rows:
        got = limits(float(row["size_incl_mm"]), row["tolerance_class"])
        assert (got.lower, got.upper) == (um(row["right_lower_um"]), um(row["right_upper_um"]))
        assert (got.lower, got.upper) != (um(row["printed_lower_um"]), um(row["printed_upper_um"]))


def test_every_grade_cell_is_the_published_one() -> None:
    """All 260 grade widths, IT01 to IT18, are those of the published table."""
    rows = published("grades")
    assert len(rows) == 260
    for row in rows:
        for size in (max(float(row["size_over_mm"]) * _JUST_OVER, 1.5), float(row["size_incl_mm"])):
            assert grade_width(size, row["grade"]) == um(row["it_um"]), row


# ISO 286-1:1988 standard tolerance factor, from a public page of its formulas: IT5 to IT18 = factor
# times i, i = 0.45 D^(1/3) + 0.001 D in µm, D the geometric mean of the step (first step 1 to 3 mm)
_FACTORS = (7, 10, 16, 25, 40, 64, 100, 160, 250, 400, 640, 1000, 1600, 2500)


def test_grade_table_follows_the_tolerance_factor() -> None:
    """From IT5 up no cell lies further from the formula than the rounding of the standard.

    The standard rounds by hand: to 1 µm below 100, 5 or 10 above, whole tens at coarse grades;
    15 % holds in the smallest step (25 for 21.7 µm), 9 % everywhere else.
    """
    for row in published("grades"):
        grade = GRADES.index(row["grade"].removeprefix("IT")) - 1
        if grade < 5:
            continue
        low, high = float(row["size_over_mm"]) or 1.0, float(row["size_incl_mm"])
        mean = math.sqrt(low * high)
        raw = _FACTORS[grade - 5] * (0.45 * mean ** (1 / 3) + 0.001 * mean)
        share = 0.16 if high == 3.0 else 0.10
        assert float(row["it_um"]) == pytest.approx(raw, rel=share), row


def test_the_table_counts_and_not_the_formula() -> None:
    """The cells that the formula would give otherwise are the table's: 43 of 260."""
    off = [r for r in published("grades") if r["differs_from_formula"] == "1"]
    assert len(off) == 43
    for row in off:
        size = float(row["size_incl_mm"])
        assert grade_width(size, row["grade"]) != um(row["formula_rounded_um"])


_FITTING = {
    "all": "7",
    "5-6": "6",
    "4-7": "5",
    "<=3 or >7": "8",
    "<=8": "7",
    ">8": "9",
    "<=7": "7",
    ">7": "8",
}


def test_every_deviation_cell_is_the_published_one() -> None:
    """All fundamental deviations come out, with the delta of the grade where the table adds it."""
    rows = published("deviations")
    assert len(rows) == 1009
    delta = {
        (float(r["size_incl_mm"]), r["grade"]): float(r["delta_um"]) for r in published("delta")
    }
    mains = sorted({size for size, _ in delta})
    for row in rows:
        grade = _FITTING.get(row["grades"], row["grades"])
        for size in (
            max(float(row["size_over_mm"]) * _JUST_OVER, 1.5),
            float(row["size_incl_mm"]),
        ):
            got = fundamental_deviation(size, row["letter"], grade)
            if not row["value_um"]:
                assert row["letter"].lower() == "js"
                assert got.value == pytest.approx(grade_width(size, grade) / 2)
                continue
            value = float(row["value_um"])
            if row["plus_delta"] == "1":
                main = next(m for m in mains if size <= m)
                value += delta[main, f"IT{grade}"]
            assert got.value == pytest.approx(value / 1000.0, abs=1e-12), row
            assert got.symbol == row["deviation"]


def test_delta_of_every_grade_moves_the_fine_holes() -> None:
    """N in grades 3 to 8 lies above its tabulated value by the published delta, cell by cell."""
    base = {
        float(r["size_incl_mm"]): float(r["value_um"])
        for r in published("deviations")
        if r["letter"] == "N" and r["grades"] == "<=8"
    }
    for row in published("delta"):
        size = float(row["size_incl_mm"])
        got = fundamental_deviation(size, "N", row["grade"].removeprefix("IT")).value
        assert got == pytest.approx((base[size] + float(row["delta_um"])) / 1000.0, abs=1e-12), row


def _mean(row: dict[str, str]) -> float:
    return math.sqrt((float(row["size_over_mm"]) or 1.0) * float(row["size_incl_mm"]))


# Formulas of the fundamental deviations, ISO 286-1:1988, from memory; D in mm, result in µm
_RULES = {
    "d": lambda D: -16 * D**0.44,
    "e": lambda D: -11 * D**0.41,
    "f": lambda D: -5.5 * D**0.41,
    "g": lambda D: -2.5 * D**0.34,
    "n": lambda D: 5 * D**0.34,
}


@pytest.mark.parametrize("letter", sorted(_RULES))
def test_clearance_deviations_follow_their_formula(letter: str) -> None:
    """Over 3 mm d to g and n lie within 2.5 % or 1 µm of the formula at the mean of the step."""
    for row in published("delta"):
        size = float(row["size_incl_mm"])
        if size > 3.0:
            got = 1000.0 * fundamental_deviation(size, letter, "7").value
            assert got == pytest.approx(_RULES[letter](_mean(row)), rel=0.025, abs=1.0), row


@pytest.mark.parametrize(
    ("letter", "factor"),
    [
        # ISO 286-1:1988, from memory: IT7 + 0.4 D (s), 0.63 D (t), D (u); over 50 mm for s
        ("s", 0.4),
        ("t", 0.63),
        ("u", 1.0),
    ],
)
def test_pressed_deviations_follow_their_formula(letter: str, factor: float) -> None:
    """Over 50 mm s, t and u lie within 3 µm of IT7 plus their share of the size."""
    checked = 0
    for row in published("deviations"):
        if row["letter"] == letter and float(row["size_over_mm"]) >= 50.0:
            size = float(row["size_incl_mm"])
            rule = 1000.0 * grade_width(size, 7) + factor * _mean(row)
            got = 1000.0 * fundamental_deviation(size, letter, "6").value
            assert got == pytest.approx(rule, rel=0.0, abs=3.0), row
            checked += 1
    assert checked == 16


def test_m_is_the_difference_of_two_grades() -> None:
    """The deviation m is IT7 minus IT6 over 3 mm (ISO 286-1:1988, from memory), to 1 µm."""
    for row in published("delta"):
        size = float(row["size_incl_mm"])
        if size > 3.0:
            rule = grade_width(size, 7) - grade_width(size, 6)
            assert fundamental_deviation(size, "m", "6").value == pytest.approx(rule, abs=1.01e-3)


def test_all_letters_of_the_data_are_offered() -> None:
    """Every letter of the published deviations can be asked for, holes and shafts."""
    for feature in ("hole", "shaft"):
        assert set(letters(feature)) == {
            r["letter"] for r in published("deviations") if r["feature"] == feature
        }
