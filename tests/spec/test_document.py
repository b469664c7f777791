"""One document: what the parser says, and every fault though another one hides it."""

from __future__ import annotations

import pytest
import tomli

from tolsim.errors import Problem, SpecError
from tolsim.spec.document import examine, kind_of, parse, validate
from tolsim.spec.parts import PART_KINDS, Bore
from tolsim.spec.study import StudySpec

BORE = """\
part = "bore"
title = "made for a test"
basis = "assumed"
material = "steel-4130"
outside_diameter_mm = 46.0
seat_width_mm = 7.0
span_mm = 82.0
[diameter]
nominal_mm = 37.0
band_um = [-30, -10]
"""


def _bore(old: str, new: str) -> list[Problem]:
    assert old in BORE
    text = BORE.replace(old, new, 1)
    return examine(tomli.loads(text), Bore, text=text, shown="b.toml").problems


def _texts(problems: list[Problem]) -> list[str]:
    return [p.text() for p in problems]


@pytest.mark.parametrize(
    ("text", "line", "message", "found"),
    [
        ("a = 1\nb = \n", 2, "not valid TOML: Invalid value (column 5)", "b ="),
        ("a = 1\na = 2\n", 2, "not valid TOML: Cannot overwrite a value (column 6)", "a = 2"),
        ("[x\n", 1, "not valid TOML: Expected ']' at the end of a table declaration", "[x"),
        ('a = "\n', 1, "not valid TOML: Illegal character", 'a = "'),
        # a line separator inside a text is no new line of the file
        ("a = '\u2028'\nb = !\n", 2, "not valid TOML: Invalid value (column 5)", "b = !"),
    ],
)
def test_syntax(text: str, line: int, message: str, found: str) -> None:
    """A syntax fault carries the line, the column and the text that stands there."""
    with pytest.raises(SpecError) as caught:
        parse(text, "s.toml")
    (problem,) = caught.value.problems
    assert (problem.file, problem.line, problem.found) == ("s.toml", line, found)
    assert problem.message.startswith(message)


def test_depth_word_for_word() -> None:
    """Nesting beyond the cap is one fault with its line."""
    with pytest.raises(SpecError) as caught:
        parse("a = 1\nb = " + "[" * 20 + "]" * 20 + "\n", "s.toml")
    assert _texts(list(caught.value.problems)) == [
        "s.toml:2: nested too deep\n    allowed  at most 16"
    ]


@pytest.mark.parametrize(
    ("old", "new", "text"),
    [
        (
            "span_mm = 82.0",
            "span_mm = true",
            "b.toml:7: span_mm: expected a number\n"
            "    found    span_mm = true\n"
            "    allowed  a number",
        ),
        (
            "span_mm = 82.0",
            "span_mm = inf",
            "b.toml:7: span_mm: expected a finite number\n"
            "    found    span_mm = inf\n"
            "    allowed  a finite number",
        ),
        (
            "span_mm = 82.0",
            "span_mm = 82.0\nspan_in = 3.2",
            "b.toml:8: span_in: given twice, in two units\n"
            "    found    span_in = 3.2\n"
            "    allowed  span_mm or span_in, not both",
        ),
        (
            "span_mm = 82.0",
            "span_mn = 82.0",
            "b.toml:1: span_mm: required key is missing\n    allowed  span_mm",
        ),
        (
            "band_um = [-30, -10]",
            "band_um = [-10, -30]",
            "b.toml:10: diameter.band_um: lower limit must be below the upper\n"
            "    found    band_um = [-10, -30]\n"
            "    allowed  [lower, upper] with lower < upper",
        ),
        (
            "band_um = [-30, -10]",
            "band_um = [-30, nan]",
            "b.toml:10: diameter.band_um[1]: expected a finite number\n"
            "    found    band_um[1] = nan\n"
            "    allowed  a finite number",
        ),
        (
            "band_um = [-30, -10]",
            "band_um = [-30, -20, -10]",
            "b.toml:10: diameter.band_um: wrong length\n"
            "    found    band_um with 3 entries\n"
            "    allowed  at most 2",
        ),
        (
            'material = "steel-4130"',
            "material = 3",
            "b.toml:4: material: expected text in quotes, or a table\n"
            "    found    material = 3\n"
            "    allowed  text in quotes, or a table",
        ),
        (
            'basis = "assumed"',
            'basis = "asumed"',
            "b.toml:3: basis: unknown value\n"
            '    found    basis = "asumed"\n'
            "    allowed  measured, drawing, assumed\n"
            "    closest  assumed",
        ),
        (
            "outside_diameter_mm = 46.0",
            "outside_diameter_in = 46.0",
            "b.toml:5: outside_diameter_in: out of range\n"
            "    found    outside_diameter_in = 46.0\n"
            "    allowed  at most 500 mm",
        ),
        (
            "outside_diameter_mm = 46.0",
            "outside_diameter_mm = 37.1",
            "b.toml:1: no wall is left around a bore of 37 mm\n"
            "    allowed  outside_diameter_mm above 37.2",
        ),
        (
            "span_mm = 82.0",
            "span_mm = 82.0\nalignment = { offset_um = 'x', tilt_deg = { sd = -1 } }",
            "b.toml:8: alignment.offset_um: expected a number, or a table\n"
            '    found    offset_um = "x"\n'
            "    allowed  a number, or a table such as { mean = 0, sd = 1 }",
        ),
    ],
)
def test_messages_word_for_word(old: str, new: str, text: str) -> None:
    """The first fault of a document reads as designed."""
    assert _texts(_bore(old, new))[0] == text


def test_entries_of_a_list() -> None:
    """Faulty entries of a list are told, not that too few are left."""
    route = (
        "band_um = [-30, -10]\n[[diameter.route]]\nstep = 'mix'\n"
        "of = [{ share = 0.5, sd_um = 1 },\n      { share = 'half', sd_um = true }]"
    )
    found = _bore("band_um = [-30, -10]", route)
    assert [(p.line, p.key) for p in found] == [
        (14, "diameter.route[0].of[1].sd_um"),
        (14, "diameter.route[0].of[1].share"),
    ]


def test_a_material_of_its_own() -> None:
    """A material as a table is told what it lacks, not that it is no text."""
    found = _bore('material = "steel-4130"', 'material = { name = "x", young_GPa = true }')
    assert {(p.line, p.key) for p in found} == {
        (4, f"material.{key}") for key in ("young_GPa", "poisson", "expansion_per_K", "source")
    }


def test_rules_behind_a_faulty_key() -> None:
    """What ties several keys together is told although an unrelated key is wrong."""
    text = BORE.replace("outside_diameter_mm = 46.0", "outside_diameter_mm = 30.0\ncolour = 'red'")
    text = text.replace("band_um = [-30, -10]", "# no band")
    seen = examine(tomli.loads(text), Bore, text=text, shown="b.toml")
    assert [(p.line, p.message) for p in seen.problems] == [
        (6, "unknown key"),
        (9, "neither a band nor a route says what the parts measure"),
    ]
    text = BORE.replace("outside_diameter_mm = 46.0", "outside_diameter_mm = 30.0\ncolour = 'red'")
    seen = examine(tomli.loads(text), Bore, text=text, shown="b.toml")
    assert [p.message for p in seen.problems] == [
        "no wall is left around a bore of 37 mm",
        "unknown key",
    ]


def test_nothing_that_only_follows() -> None:
    """A faulty key is told once, not also as missing from a rule that needs it."""
    assert len(_bore("nominal_mm = 37.0", 'nominal_mm = "37"')) == 1
    assert len(_bore("band_um = [-30, -10]", "band_um = [-10, -30]")) == 1
    one = _bore("band_um = [-30, -10]", "bond_um = [-30, -10]")
    assert [(p.message, p.closest) for p in one] == [("unknown key", "band_um")]
    route = "[[diameter.route]]\nstep = 'machine'\nsdd_um = 2\n"
    (only,) = _bore("band_um = [-30, -10]\n", f"band_um = [-30, -10]\n{route}")
    assert only.closest == "sd_um"


def test_a_spare_key_leaves_the_record_whole() -> None:
    """An unknown key that is near to no other is a fault, and the rest can still be looked at."""
    text = BORE.replace("span_mm = 82.0", "span_mm = 82.0\nzzz = 1")
    seen = examine(tomli.loads(text), Bore, text=text, shown="b.toml")
    assert seen.record is not None
    assert not seen.left_out
    assert len(seen.problems) == 1
    with pytest.raises(SpecError, match="unknown key"):
        validate(tomli.loads(text), Bore, text=text, shown="b.toml")


def test_two_faults_on_one_line() -> None:
    """Faults of one line stay two, inside an inline table too."""
    text = (
        'title = "t"\njoint = { kind = "presed", bore = 3, bearing = "x" }\n'
        "limits = { loose = { interference_um = true, seperation = true } }\n"
    )
    seen = examine(tomli.loads(text), StudySpec, text=text, shown="s.toml")
    assert [(p.line, p.key) for p in seen.problems] == [
        (2, "joint.bore"),
        (2, "joint.kind"),
        (3, "limits.loose.interference_um"),
        (3, "limits.loose.seperation"),
    ]


def test_very_many_faults() -> None:
    """Of thousands of faults the first are told, and how many there are."""
    text = "".join(f"k{i} = 1\n" for i in range(5000))
    seen = examine(tomli.loads(text), StudySpec, text=text, shown="s.toml")
    assert len(seen.problems) == 201
    assert seen.problems[0].message.endswith("more faults are not listed")


def test_kind_of_part() -> None:
    """The kind of a part is asked for, and a slip is told its neighbour."""
    for text, found, near in (
        ("title = 'x'\n", None, None),
        ("title = 'x'\npart = 'boar'\n", "part = 'boar'", "bore"),
        ("part = 3\n", "part = 3", None),
    ):
        with pytest.raises(SpecError) as caught:
            kind_of(tomli.loads(text), PART_KINDS, text=text, shown="b.toml")
        (problem,) = caught.value.problems
        assert (problem.found, problem.closest, problem.key) == (found, near, "part")
        assert problem.allowed == "bore, bearing, sleeve, adhesive"


def test_whole_numbers_of_any_size() -> None:
    """A whole number beyond every float is a fault, in every unit."""
    big = "9" * 400
    for old, new in (
        ("span_mm = 82.0", f"span_mm = {big}"),
        ("span_mm = 82.0", f"span_in = {big}"),
        ("band_um = [-30, -10]", f"band_thou = [-1, {big}]"),
    ):
        assert _bore(old, new)
