"""Geometry, threads, acceptance plans and anodic films: doubts that show, diagnosed mistakes."""

from __future__ import annotations

import pytest

from tolsim.standards.acceptance import attribute_plan, variables_plan
from tolsim.standards.coatings import diameter_change, outward_share, thickness
from tolsim.standards.geometry import general, seat_run_out
from tolsim.standards.tables import TableError, said
from tolsim.standards.threads import basic_diameters, thread


def test_general_geometry_from_memory_says_so() -> None:
    """Run-out is from memory, flatness from two sources."""
    assert said(general("run-out", "H", 37.0).confidence).startswith("DOUBTFUL")
    assert general("flatness", "k", 37.0).confidence == "two_sources"
    assert "withdrawn" not in general("flatness", "k", 37.0).standard


@pytest.mark.parametrize(
    ("words", "cls", "length", "closest"),
    [
        ("perpendicular", "H", 10.0, "perpendicularity"),
        ("flatness", "M", 10.0, "L"),
        ("flatness", "H", 3001.0, "3000 mm"),
        ("symmetry", "H", 0.0, "just over 0 mm"),
    ],
)
def test_unknown_geometry_is_diagnosed(words: str, cls: str, length: float, closest: str) -> None:
    """An unknown characteristic, class or length names the nearest one."""
    with pytest.raises(TableError) as raised:
        general(words, cls, length)
    assert raised.value.closest == closest


@pytest.mark.parametrize(
    ("seat", "cls", "radial", "axial"),
    [
        # a bearing maker's catalogue (2018) section B.6 table 2, grades at 37 and 25 mm of ISO 286
        ("housing", "Normal", 0.008, 0.016),  # IT6/2, IT6 at 37 mm
        ("housing", "5", 0.0035, 0.007),  # IT4/2, IT4
        ("shaft", "6", 0.0035, 0.007),  # IT4/2, IT4 (30 to 50 mm)
    ],
)
def test_seat_advice_in_micrometres(seat: str, cls: str, radial: float, axial: float) -> None:
    """Advised run-out of a 37 mm seat is half a grade and a grade."""
    advice = seat_run_out(37.0, seat, cls)
    assert (advice.radial, advice.axial) == (radial, axial)


def test_unknown_seat_is_diagnosed() -> None:
    """There is advice for classes Normal, 6 and 5 only."""
    with pytest.raises(TableError, match="no advice for this seat"):
        seat_run_out(37.0, "housing", "4")


@pytest.mark.parametrize(
    ("word", "cls", "closest"),
    [
        ("M30x2", "6H", "M30x1.5-6H"),
        ("M100x1", "6g", "M90x1-6g"),
        ("M20x1", "6g", "M24x1-6g"),
        ("M30x1", "5H", "6H"),
        ("M30x1", "6h", "6H"),
        ("M30x1", None, None),
        ("G1/2", "6H", None),
    ],
)
def test_unknown_threads_are_diagnosed(word: str, cls: str | None, closest: str | None) -> None:
    """A thread that is not kept names the nearest one that is."""
    with pytest.raises(TableError) as raised:
        thread(word, cls)
    assert raised.value.closest == closest
    if closest and "-" in closest:
        assert thread(closest).tolerance > 0.0


def test_the_doubtful_thread_gives_both_numbers() -> None:
    """M60x1-6H: the list prints 190 µm, the rule gives 180; the result carries both."""
    found = thread("M60x1-6H")
    assert (found.tolerance, found.alternative_tolerance) == (0.19, 0.18)
    assert said(found.confidence).startswith("DOUBTFUL")
    assert "doubtful" in found.notes[0]
    with pytest.raises(ValueError, match="need 0 < pitch < nominal"):
        basic_diameters(1.0, 1.5)


def test_plans_refuse_what_the_tables_do_not_have() -> None:
    """One part is no lot, 0.2 % no AQL; the nearest AQL is named."""
    with pytest.raises(TableError, match="no plan for this lot"):
        attribute_plan(1, 1.0)
    with pytest.raises(TableError) as raised:
        attribute_plan(100, 0.2)
    assert raised.value.closest == "0.25 %"
    with pytest.raises(TableError) as raised:
        variables_plan(100, 20.0)
    assert raised.value.closest == "10 %"
    with pytest.raises(TableError, match="unknown severity"):
        attribute_plan(100, 1.0, "reduced")  # type: ignore[arg-type]
    with pytest.raises(ValueError, match="share between 0 and 1"):
        attribute_plan(100, 1.0).acceptance(1.5)
    assert said(variables_plan(200, 4.0).confidence).startswith("DOUBTFUL")


def test_acceptance_falls_with_the_share_of_bad_parts() -> None:
    """Good lots pass for sure, bad ones never; tightened inspection accepts less."""
    normal, tight = attribute_plan(900, 1.0), attribute_plan(900, 1.0, "tightened")
    shares = [0.0, 0.005, 0.01, 0.05, 0.2, 1.0]
    curve = [normal.acceptance(p) for p in shares]
    assert curve == sorted(curve, reverse=True)
    assert (curve[0], curve[-1]) == (1.0, 0.0)
    assert tight.acceptance(0.03) < normal.acceptance(0.03)


def test_films_grow_outwards_by_half_or_a_third() -> None:
    """Hard films half, thin ones in dispute; a bore shrinks by twice the outward share."""
    assert (outward_share("III").low, outward_share("III").high) == (0.5, 0.5)
    thin = outward_share("II")
    assert (thin.low, thin.high) == (0.33, 0.5)
    assert said(thin.confidence).startswith("DOUBTFUL")
    assert said(thickness("II").confidence).startswith("DOUBTFUL")
    # 0.00007 to 0.0010 inch, MIL-A-8625F Table IV, from memory
    assert thickness("II").low == pytest.approx(0.00007 * 25.4, rel=0.02)
    assert thickness("II").high == pytest.approx(0.0010 * 25.4, rel=0.02)
    assert diameter_change(0.05, 0.5, bore=False) == -diameter_change(0.05, 0.5, bore=True) == 0.05
    with pytest.raises(TableError, match="unknown type"):
        outward_share("IV")
    with pytest.raises(ValueError, match="need film"):
        diameter_change(-1.0, 0.5, bore=True)
