"""ISO 286: properties of every class, exceptions, nearest classes, diagnosed mistakes."""

from __future__ import annotations

import itertools

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tolsim.standards.sizes import (
    GRADES,
    TableError,
    classes,
    fundamental_deviation,
    grade_width,
    letters,
    limits,
    nearest,
    split,
)

SIZES = st.floats(min_value=1.001, max_value=500.0, allow_nan=False)
GRADE = st.sampled_from(GRADES)
FINE = ("K", "M", "N", "P", "R", "S", "U")


@given(size=SIZES, pair=st.sampled_from(list(itertools.pairwise(GRADES))))
def test_a_coarser_grade_is_wider(size: float, pair: tuple[str, str]) -> None:
    """Grades widen strictly from IT01 to IT18 at every size."""
    assert grade_width(size, pair[0]) < grade_width(size, pair[1])


@given(a=SIZES, b=SIZES, grade=GRADE)
def test_a_larger_size_is_never_finer(a: float, b: float, grade: str) -> None:
    """A grade never narrows with size."""
    small, large = sorted((a, b))
    assert grade_width(small, grade) <= grade_width(large, grade)


@given(size=SIZES, data=st.data())
def test_the_band_of_a_class_has_the_width_of_its_grade(size: float, data: st.DataObject) -> None:
    """Upper minus lower limit is the grade, for every class that exists at the size."""
    feature = data.draw(st.sampled_from(["hole", "shaft"]))
    word = data.draw(st.sampled_from(list(classes(size, "hole" if feature == "hole" else "shaft"))))
    found = limits(size, word)
    assert found.feature == feature
    assert found.width == pytest.approx(grade_width(size, found.grade), abs=1e-12)


@given(size=SIZES, grade=GRADE, letter=st.sampled_from("defgh"))
def test_loose_holes_mirror_loose_shafts(size: float, grade: str, letter: str) -> None:
    """D to H are d to h turned over: EI = -es."""
    hole, shaft = limits(size, f"{letter.upper()}{grade}"), limits(size, f"{letter}{grade}")
    assert (hole.lower, hole.upper) == (-shaft.upper, -shaft.lower)


@given(size=SIZES, grade=GRADE)
def test_js_lies_half_on_either_side(size: float, grade: str) -> None:
    """JS and js are the same band, symmetric about zero, exact halves of odd grades kept."""
    hole, shaft = limits(size, f"JS{grade}"), limits(size, f"js{grade}")
    assert (hole.lower, hole.upper) == (shaft.lower, shaft.upper)
    assert hole.upper == -hole.lower


@given(
    size=SIZES.filter(lambda s: s > 3.0),
    grade=st.integers(min_value=5, max_value=7),
    letter=st.sampled_from(FINE),
)
def test_hole_basis_and_shaft_basis_give_one_fit(size: float, grade: int, letter: str) -> None:
    """Delta makes P7/h6 as tight as H7/p6: the same largest and smallest interference.

    ISO 286-1, rule of the fundamental deviations of holes; M6 over 250 to 315 mm is its exception.
    """
    finer = grade - 1
    one_hole, one_shaft = limits(size, f"H{grade}"), limits(size, f"{letter.lower()}{finer}")
    two_hole, two_shaft = limits(size, f"{letter}{grade}"), limits(size, f"h{finer}")
    shift = 0.002 if (letter, grade) == ("M", 6) and 250.0 < size <= 315.0 else 0.0
    assert one_shaft.upper - one_hole.lower == pytest.approx(
        two_shaft.upper - two_hole.lower + shift, abs=1e-12
    )
    assert one_shaft.lower - one_hole.upper == pytest.approx(
        two_shaft.lower - two_hole.upper + shift, abs=1e-12
    )


@given(size=SIZES, grade=st.integers(min_value=8, max_value=18), letter=st.sampled_from("PRSU"))
def test_coarse_pressed_holes_mirror_their_shafts(size: float, grade: int, letter: str) -> None:
    """Above grade 7 no delta is added: ES = -ei."""
    assert limits(size, f"{letter}{grade}").upper == -limits(size, f"{letter.lower()}{grade}").lower


@given(size=SIZES, grade=st.integers(min_value=4, max_value=7))
def test_letters_tighten_in_the_order_of_the_alphabet(size: float, grade: int) -> None:
    """From d to u every shaft letter lies at least as high as the one before it."""
    words = [a for a in letters("shaft") if a not in ("j", "js")]
    bands = [limits(size, f"{a}{grade}") for a in words if a != "t" or size > 24.0]
    assert [b.lower for b in bands] == sorted(b.lower for b in bands)


@pytest.mark.parametrize(
    ("size", "word", "lower", "upper"),
    [
        # exceptions of ISO 286-1:2010, each seen in published limits or in the deviation table
        (300.0, "M6", -41, -9),  # ES = -9, the rule would give -11
        (300.0, "M7", -52, 0),
        (30.0, "H7", 0, 21),  # 30 mm is in the step 18 to 30
        (30.001, "H7", 0, 25),
        (5.0, "H11", 0, 75),  # the table, not 10 x IT6 = 80
        (350.0, "h6", -36, 0),  # the table, not the formula's 35
        (40.0, "k3", 0, 4),  # k: ei = 0 outside grades 4 to 7
        (40.0, "k7", 2, 27),
        (40.0, "k8", 0, 39),
        (40.0, "N9", -62, 0),
        (3.0, "N9", -29, -4),
        (2.0, "j8", -6, 8),
        (41.0, "JS7", -12.5, 12.5),
        (37.0, "P8", -65, -26),
        (37.0, "P7", -42, -17),
    ],
)
def test_exceptions_of_the_standard(size: float, word: str, lower: float, upper: float) -> None:
    """Known exceptions and ends of steps come out as the standard has them."""
    found = limits(size, word)
    assert (found.lower, found.upper) == (lower / 1000.0, upper / 1000.0)


@pytest.mark.parametrize(
    ("size", "word", "message", "closest"),
    [
        (37.0, "P19", "there is no grade 19", "P18"),
        (0.8, "P19", "there is no grade 19", "P13"),
        (37.0, "x7", "letter x is not kept here", "u7"),
        (37.0, "A11", "letter A is not kept here", "D11"),
        (37.0, "q7", "letter q is no letter of ISO 286", "p7"),
        (20.0, "t6", "t is not used at this size", "s6"),
        (37.0, "J5", "J is not used in grade 5 at this size", "J6"),
        (37.0, "j8", "j is not used in grade 8 at this size", "j7"),
        (37.0, "K9", "K is not used in grade 9 at this size", "K8"),
        (37.0, "N2", "N is not used in grade 2 at this size", "N3"),
        (0.9, "N9", "N is not used in grade 9 at this size", "N8"),
        (1.0, "H14", "H is not used in grade 14 at this size", "H13"),
        (37.0, "7P", "this is no tolerance class", "P7"),
        (37.0, "P", "this is no tolerance class", "P7"),
        (37.0, "IT7", "a grade alone has a width but no place", "H7"),
        (37.0, "", "this is no tolerance class", None),
        (600.0, "H7", "the size is outside the table", "500 mm"),
        (0.0, "H7", "the size is outside the table", "just over 0 mm"),
        (float("nan"), "H7", "the size is outside the table", None),
    ],
)
def test_mistakes_are_diagnosed(size: float, word: str, message: str, closest: str | None) -> None:
    """An unknown class or size says what was found and names the nearest one that exists."""
    with pytest.raises(TableError) as raised:
        limits(size, word)
    assert raised.value.message == message
    assert raised.value.closest == closest
    assert raised.value.found


def test_a_whole_message() -> None:
    """The message is laid out as found, allowed, closest."""
    with pytest.raises(TableError) as raised:
        limits(20.0, "t6")
    assert str(raised.value) == (
        "t is not used at this size\n"
        "    found    t6 at 20 mm\n"
        "    allowed  t over 24 mm up to and including 500 mm\n"
        "    closest  s6"
    )


@given(
    size=st.floats(min_value=1e-3, max_value=500.0),
    letter=st.from_regex(r"[A-Za-z]{1,2}", fullmatch=True),
    grade=st.integers(min_value=0, max_value=99),
)
def test_every_wrong_class_leads_to_one_that_exists(size: float, letter: str, grade: int) -> None:
    """Whatever class is asked for, either it has limits or the closest one named has."""
    error = _refusal(size, f"{letter}{grade}")
    if error is not None and error.closest is not None:
        assert _refusal(size, error.closest) is None
    elif error is not None:
        assert error.message in ("this is no tolerance class", f"there is no grade {grade}")


@pytest.mark.parametrize(
    ("word", "closest"), [("IT19", "H18"), ("IT7", "H7"), ("19P", "P18"), ("P" + "9" * 5000, None)]
)
def test_a_grade_out_of_reach_leads_to_the_last(word: str, closest: str | None) -> None:
    error = _refusal(37.0, word)
    assert error is not None
    if closest is not None:
        assert error.closest == closest
    else:
        assert error.closest is None or _refusal(37.0, error.closest) is None


def _refusal(size: float, word: str) -> TableError | None:
    try:
        limits(size, word)
    except TableError as error:
        return error
    return None


@settings(max_examples=30)
@given(size=SIZES, data=st.data())
def test_the_band_of_a_class_is_recognised(size: float, data: st.DataObject) -> None:
    """A band equal to a class is found as exact, inside, outside and by overlap."""
    word = data.draw(st.sampled_from(list(classes(size, "hole"))))
    wanted = limits(size, word)
    found = nearest(size, wanted.lower, wanted.upper, "hole")
    assert found.exact is not None
    for best in (found.exact, found.inside[0], found.outside[0], found.overlap[0]):
        assert (best.lower, best.upper) == (wanted.lower, wanted.upper)
        assert found.share(best) == pytest.approx(1.0)


@settings(max_examples=30)
@given(
    size=SIZES,
    low=st.integers(min_value=-200, max_value=200),
    width=st.integers(min_value=1, max_value=300),
)
def test_nearest_classes_keep_their_side(size: float, low: int, width: int) -> None:
    """Inside lies within, outside holds the band, and no class shares more than the first."""
    lower, upper = low / 1000.0, (low + width) / 1000.0
    found = nearest(size, lower, upper, "shaft")
    assert all(c.lower >= lower - 1e-9 and c.upper <= upper + 1e-9 for c in found.inside)
    assert all(c.lower <= lower + 1e-9 and c.upper >= upper - 1e-9 for c in found.outside)
    if found.overlap:
        top = found.share(found.overlap[0])
        every = [limits(size, w) for w in classes(size, "shaft")]
        assert top == pytest.approx(max(found.share(c) for c in every), abs=1e-9)


def test_a_band_needs_its_lower_limit_first() -> None:
    """A band turned round is refused."""
    with pytest.raises(ValueError, match="need lower < upper"):
        nearest(37.0, -0.017, -0.042, "hole")


def test_doubtful_classes_say_so() -> None:
    """K above grade 8, kept from memory, is called doubtful; single-source classes say one."""
    assert limits(2.0, "K9").confidence == "memory"
    assert limits(37.0, "N9").confidence == "one_source"
    assert limits(37.0, "P7").confidence == "two_sources"
    assert limits(37.0, "U7").notes == (
        "seen as a deviation only, no published limits of this class compared",
    )
    assert "1988" in limits(37.0, "JS7").notes[0]


def test_grades_can_be_named_in_three_ways() -> None:
    """7, "7" and "IT7" are one grade; 01 is the finest."""
    assert grade_width(37.0, 7) == grade_width(37.0, "7") == grade_width(37.0, "IT7") == 0.025
    assert grade_width(37.0, "01") == 0.0006
    with pytest.raises(TableError, match="no grade 19"):
        grade_width(37.0, 19)
    with pytest.raises(TableError, match="not used up to 1 mm"):
        grade_width(1.0, 14)


def test_words_are_read_with_spaces_and_mixed_case() -> None:
    """Spaces are forgiven; the first letter's case tells hole from shaft."""
    assert split(" Js 7 ") == ("hole", "JS", "7")
    assert fundamental_deviation(37.0, "P", "IT7").value == -0.017
