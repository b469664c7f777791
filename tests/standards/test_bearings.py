"""Rolling bearings: words for classes and groups, edges of the tables, diagnosed mistakes."""

from __future__ import annotations

import pytest

from tolsim.standards.bearings import (
    CLASSES,
    GROUPS,
    class_name,
    clearance,
    dimensions,
    group_name,
    inner_ring,
    outer_ring,
    parse_size,
    raceways,
)
from tolsim.standards.tables import TableError


def test_the_ring_of_a_thin_bearing() -> None:
    """A 37 mm outer ring: 0/-11 normal, 0/-9 class 6, 0/-7 class 5 (makers' catalogues)."""
    assert [outer_ring(37.0, c).lower for c in ("normal", "6", "5")] == [-0.011, -0.009, -0.007]
    assert {outer_ring(37.0, c).upper for c in CLASSES} == {0.0}
    ring = outer_ring(37.0, "Normal")
    assert (ring.feature, ring.width, ring.mid) == ("shaft", 0.011, -0.0055)
    assert inner_ring(25.0, "Normal").feature == "hole"


def test_words_for_classes_and_groups() -> None:
    """Trade's words mean the classes of ISO 492 and the groups of ISO 5753-1."""
    assert {class_name(w) for w in ("normal", "Normal", "class normal", "P0", "0")} == {"Normal"}
    assert [class_name(f"P{c}") for c in CLASSES[1:]] == list(CLASSES[1:])
    assert {group_name(w) for w in ("N", "n", "CN", "normal", "C0")} == {"N"}
    assert [group_name(f"C{g}") for g in GROUPS if g != "N"] == ["2", "3", "4", "5"]


def test_tables_start_where_they_say() -> None:
    """The smallest size of a table belongs to it; group 4 starts only over 6 mm."""
    assert outer_ring(2.5, "normal").lower == -0.008
    assert inner_ring(0.6, "5").lower == -0.005
    assert clearance(2.5, "2").upper == 0.007
    with pytest.raises(TableError) as raised:
        clearance(6.0, "4")
    assert raised.value.allowed == "over 6 up to and including 500 mm"
    assert raised.value.closest == "just over 6 mm"


@pytest.mark.parametrize(
    ("size", "cls", "allowed", "closest"),
    [
        (600.0, "normal", "from 2.5 up to and including 500 mm", "500 mm"),
        (401.0, "4", "from 2.5 up to and including 400 mm", "400 mm"),
        (2.0, "6", "from 2.5 up to and including 500 mm", "2.5 mm"),
        (37.0, "3", "normal, 6, 5, 4, 2 (ISO 492)", "4"),
        (37.0, "norml", "normal, 6, 5, 4, 2 (ISO 492)", "normal"),
        (37.0, "P7", "normal, 6, 5, 4, 2 (ISO 492)", "6"),
    ],
)
def test_unknown_rings_are_diagnosed(size: float, cls: str, allowed: str, closest: str) -> None:
    """A class or diameter that the table does not have names the nearest that it has."""
    with pytest.raises(TableError) as raised:
        outer_ring(size, cls)
    assert (raised.value.allowed, raised.value.closest) == (allowed, closest)


def test_unknown_groups_are_diagnosed() -> None:
    """C7 is no clearance group; the nearest is 5."""
    with pytest.raises(TableError, match="unknown clearance group") as raised:
        clearance(25.0, "C7")
    assert raised.value.closest == "5"


def test_variation_depends_on_the_diameter_series_and_the_seal() -> None:
    """Thin series vary most; sealed thin rings have no limit at all (catalogue footnotes)."""
    ring = outer_ring(37.0, "normal")
    by_series = [ring.plane_variation(s) for s in ("8", "9", "0", "2")]
    assert by_series == [0.014, 0.014, 0.011, 0.008]
    assert ring.plane_variation("8", capped=True) is None
    assert ring.plane_variation("2", capped=True) == 0.016
    assert outer_ring(37.0, "6").plane_variation("0", capped=True) == 0.013
    assert outer_ring(37.0, "5").plane_variation("2", capped=True) is None


def test_classes_four_and_two_limit_single_diameters() -> None:
    """Classes 4 and 2 bound single diameters too, seen in one source only; their notes say half."""
    for cls in ("4", "2"):
        ring = outer_ring(37.0, cls)
        assert ring.single_lower == ring.lower
        assert ring.confidence == "one_source"
        assert any("half" in note for note in ring.notes)
    assert outer_ring(37.0, "5").single_lower is None


def test_sizes_are_read_and_mistakes_diagnosed() -> None:
    """Sizes come with x, × or *; a wrong or unlisted one names the nearest listed size."""
    assert parse_size("25 x 37 × 7 mm") == (25.0, 37.0, 7.0)
    for word in ("25x37", "37x25x7", "25x37x0", "axbxc", "25x37xnan"):
        with pytest.raises(TableError, match="no bearing size"):
            parse_size(word)
    with pytest.raises(TableError) as raised:
        dimensions("25x38x7")
    assert raised.value.closest == "25x37x7"
    for name, near in (("61899", "61812"), ("6803", "6804"), ("62040", "6204")):
        with pytest.raises(TableError) as raised:
            dimensions(name)
        assert raised.value.closest == near
    assert (found := dimensions((25.0, 37.0, 7.0))).size == "25x37x7"
    assert found.diameter_series == "8"
    assert found.dynamic_rating == (4360.0, 4500.0)


def test_raceway_estimates_split_the_section() -> None:
    """The ball, 0.3 of D - d in this rule, lies midway between the raceways."""
    inner, outer = raceways(25.0, 37.0)
    assert inner + outer == pytest.approx(25.0 + 37.0)
    assert (outer - inner) / 2.0 == pytest.approx(0.3 * (37.0 - 25.0))
    with pytest.raises(ValueError, match="need 0 < d < D"):
        raceways(37.0, 25.0)
