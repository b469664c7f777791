"""ISO 492, ISO 5753-1 and ISO 15 against the tables of bearing catalogues, row by row."""

from __future__ import annotations

import pytest

from tests.standards.data import published, um
from tolsim.standards.bearings import (
    Ring,
    clearance,
    dimensions,
    inner_ring,
    outer_ring,
    width_limits,
)


def _ends(row: dict[str, str], letter: str) -> tuple[float, float]:
    return float(row[f"{letter}_over_mm"]) * (1.0 + 1e-9), float(row[f"{letter}_incl_mm"])


def _same(ring: Ring, row: dict[str, str], columns: dict[str, str]) -> None:
    for name, column in columns.items():
        expected = um(row[column]) if row[column] else None
        assert getattr(ring, name) == expected, (column, row)


def test_every_outer_ring_row_is_the_published_one() -> None:
    """All classes and sizes of ISO 492 outer rings come out cell by cell."""
    assert len(published("outer_rings")) == 58
    for row in published("outer_rings"):
        for size in _ends(row, "D"):
            ring = outer_ring(size, row["tolerance_class"])
            columns = {
                "upper": "delta_Dmp_upper_um",
                "lower": "delta_Dmp_lower_um",
                "single_lower": "delta_Ds_lower_um",
                "variation_capped": "V_Dsp_capped_um",
                "mean_variation": "V_Dmp_um",
                "run_out": "K_ea_um",
                "axial_run_out": "S_ea_um",
                "squareness": "S_D_iso492_2014_um",
                "width_variation": "V_Cs_um",
            }
            _same(ring, row, columns)
            for series in ("9", "01", "234"):
                assert ring.variation[series] == (
                    um(row[f"V_Dsp_open_series{series}_um"])
                    if row[f"V_Dsp_open_series{series}_um"]
                    else None
                )


def test_every_inner_ring_row_is_the_published_one() -> None:
    """All classes and sizes of ISO 492 inner rings come out cell by cell."""
    assert len(published("inner_rings")) == 59
    for row in published("inner_rings"):
        for size in _ends(row, "d"):
            ring = inner_ring(size, row["tolerance_class"])
            columns = {
                "upper": "delta_dmp_upper_um",
                "lower": "delta_dmp_lower_um",
                "single_lower": "delta_ds_lower_um",
                "mean_variation": "V_dmp_um",
                "run_out": "K_ia_um",
                "axial_run_out": "S_ia_um",
                "squareness": "S_d_um",
                "width_variation": "V_Bs_um",
            }
            _same(ring, row, columns)
            assert width_limits(size, row["tolerance_class"]) == (
                um(row["delta_Bs_lower_um"]),
                um(row["delta_Bs_upper_um"]),
            )
            for series in ("9", "01", "234"):
                assert ring.variation[series] == um(row[f"V_dsp_series{series}_um"])


def test_normal_rings_agree_with_the_fit_tables() -> None:
    """Ring limits printed beside published fits, another set of tables, are those of ISO 492."""
    for row in published("fits"):
        ring = (inner_ring if row["seat"] == "shaft" else outer_ring)(
            float(row["size_incl_mm"]), "normal"
        )
        assert ring.lower == um(row["ring_dev_low_um"])
        assert ring.upper == um(row["ring_dev_high_um"])


def test_every_clearance_row_is_the_published_one() -> None:
    """All groups and bores of ISO 5753-1 come out, and the one disputed cell says so."""
    assert len(published("clearances")) == 113
    for row in published("clearances"):
        for size in _ends(row, "d"):
            found = clearance(size, row["group"])
            assert (found.lower, found.upper) == (um(row["min_um"]), um(row["max_um"])), row
    disputed = clearance(425.0, "5")
    assert disputed.confidence == "sources_disagree"
    assert "510" in disputed.notes[0]


def test_every_listed_bearing_has_its_boundary_dimensions() -> None:
    """25 bearings are found by size and by either designation."""
    assert len(published("bearings")) == 25
    for row in published("bearings"):
        size = (float(row["d_mm"]), float(row["D_mm"]), float(row["B_mm"]))
        for word in (row["designation"], row["alternative_designation"], size):
            found = dimensions(word)
            assert (found.d, found.D, found.B) == size


def test_bore_number_of_a_designation_is_a_fifth_of_the_bore() -> None:
    """From bore number 04 up the designation ends in d / 5 (ISO 15 practice, from memory)."""
    for row in published("bearings"):
        found = dimensions(row["designation"])
        assert int(found.designation[-2:]) * 5 == found.d


@pytest.mark.parametrize("finer", ["6", "5", "4", "2"])
def test_finer_classes_are_never_wider(finer: str) -> None:
    """Each class of ISO 492 is at most as wide as the one before it, at every size it covers."""
    coarser = {"6": "normal", "5": "6", "4": "5", "2": "4"}[finer]
    for row in published("outer_rings"):
        if row["tolerance_class"] == finer:
            size = float(row["D_incl_mm"])
            assert outer_ring(size, finer).width <= outer_ring(size, coarser).width
    for row in published("inner_rings"):
        if row["tolerance_class"] == finer:
            size = float(row["d_incl_mm"])
            assert inner_ring(size, finer).width <= inner_ring(size, coarser).width
