"""``tolsim limits``: what is printed, what is said no to, and the JSON document."""

from __future__ import annotations

import json
import subprocess
import sys
from typing import Any

import pytest
from click.testing import CliRunner, Result
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.standards.data import published
from tolsim.cli.limits import command


def run(*arguments: str) -> Result:
    """Run the command as a shell would."""
    return CliRunner().invoke(command, arguments)


def document(*arguments: str) -> dict[str, Any]:
    """The one JSON document of a run; constants that are no JSON are refused."""

    def refuse(word: str) -> None:
        raise AssertionError(f"{word} is no JSON")

    result = run(*arguments, "--json")
    assert result.exit_code == 0, result.output
    assert result.stderr == ""
    found: dict[str, Any] = json.loads(result.stdout, parse_constant=refuse)
    assert found["schema"] == "tolsim/limits/1"
    return found


def test_a_class_leads_with_a_sentence() -> None:
    """37 P7 is -42/-17 (ISO 286-2, limit tables of bearing catalogues)."""
    result = run("37", "P7")
    assert result.exit_code == 0
    assert result.output == (
        "37 mm P7 is a hole of 36.958 to 36.983 mm.\n"
        "  deviations  -42 to -17 µm\n"
        "  width       25 µm (IT7)\n"
        "  holds at    20 °C (ISO 1)\n"
        "  checked     ISO 286-1:2010, two published tables agree\n"
    )


def test_a_class_as_json() -> None:
    """The document carries limits, confidence, source and version."""
    found = document("37", "P7")
    limits = found["limits"]
    assert (limits["lower_um"], limits["upper_um"]) == (-42.0, -17.0)
    assert (limits["low_mm"], limits["high_mm"]) == (36.958, 36.983)
    assert (limits["designation"], limits["feature"], limits["grade"]) == ("P7", "hole", "IT7")
    assert limits["confidence"] == "two_sources"
    assert limits["source"]
    assert found["provenance"]["version"]


@pytest.mark.parametrize("row", published("limits")[::97])
def test_published_limits_reach_the_prompt(row: dict[str, str]) -> None:
    """A sample of the published limit tables comes through the command itself."""
    limits = document(row["nominal_mm"], row["tolerance_class"])["limits"]
    assert (limits["lower_um"], limits["upper_um"]) == (
        float(row["lower_um"]),
        float(row["upper_um"]),
    )


def test_a_band_that_is_a_class() -> None:
    """Negative numbers follow --band as they are; the class is named, its neighbours follow."""
    result = run("37", "--band", "-42", "-17")
    assert result.exit_code == 0
    lines = result.output.splitlines()
    assert lines[0] == "The hole band -42 to -17 µm at 37 mm is exactly P7."
    assert lines[3].split() == [
        "inside",
        "it",
        "P6",
        "-37",
        "to",
        "-21",
        "µm",
        "64",
        "%",
        "in",
        "common",
    ]
    assert lines[5].split() == [
        "around",
        "it",
        "N8",
        "-42",
        "to",
        "-3",
        "µm",
        "64",
        "%",
        "in",
        "common",
    ]
    assert "checked" not in result.output


def test_a_band_between_classes() -> None:
    """The closest class inside, around and by overlap, each with what it shares."""
    found = document("37", "--band", "-40", "-20")
    assert found["exact"] is None
    best = {k: found[k][0]["designation"] for k in ("inside", "outside", "overlap")}
    assert best == {"inside": "P6", "outside": "P7", "overlap": "P7"}
    assert found["outside"][0]["common_share"] == 0.8  # 20 of 25 µm
    text = run("37", "--band", "-40", "-20").output
    assert text.startswith("No hole class is exactly -40 to -20 µm at 37 mm; P7 shares most")


def test_a_shaft_band() -> None:
    """--shaft asks for the classes of shafts."""
    assert document("25", "--band", "2", "11", "--shaft")["exact"] == "k5"


def test_a_band_that_nothing_touches() -> None:
    """A band far from every class says so and names none."""
    result = run("37", "--band", "5000", "6000")
    assert result.exit_code == 0
    assert result.output.startswith("No hole class kept here touches +5000 to +6000 µm at 37 mm.")
    assert result.output.count("no class") == 3


def test_a_housing_fit() -> None:
    """37 P7 with a normal outer ring: -42/-17 against 0/-11 is 6 to 42 tight, 24 ± 13.7 likely."""
    result = run("37", "P7", "--with", "37", "--ring", "normal")
    assert result.exit_code == 0
    assert result.output.splitlines()[0] == (
        "37 mm P7 with outer ring, class normal: interference of 6 to 42 µm, probably "
        "10.3 to 37.7 µm."
    )
    found = document("37", "P7", "--with", "37", "--ring", "normal")["interference_um"]
    assert found["worst"] == {"low": 6.0, "high": 42.0}
    half = 0.5 * (25.0**2 + 11.0**2) ** 0.5
    assert found["probable"]["low"] == pytest.approx(24.0 - half, abs=1e-5)
    assert found["probable"]["high"] == pytest.approx(24.0 + half, abs=1e-5)


@pytest.mark.parametrize("row", published("fits")[::11])
def test_published_fits_reach_the_prompt(row: dict[str, str]) -> None:
    """Published fits on shafts and in housings: exact, and probable ones to a micrometre."""
    size = row["size_incl_mm"]
    found = document(size, row["tolerance_class"], "--with", size, "--ring", "normal")
    worst, probable = found["interference_um"]["worst"], found["interference_um"]["probable"]
    # the source prints clearance, the opposite sign
    assert -worst["high"] == float(row["theoretical_clearance_min_um"])
    assert -worst["low"] == float(row["theoretical_clearance_max_um"])
    assert -probable["high"] == pytest.approx(float(row["probable_clearance_min_um"]), abs=1.0)
    assert -probable["low"] == pytest.approx(float(row["probable_clearance_max_um"]), abs=1.0)


def test_fits_between_clearance_and_interference() -> None:
    """A clearance fit, a transition fit and a fit of a free band each find their words."""
    assert run("40", "H7", "--with", "g6").output.startswith(
        "40 mm H7 with g6: clearance of 9 to 50 µm, probably 14.7 to 44.3 µm."
    )
    assert run("37", "J7", "--with", "37", "--ring", "normal").output.startswith(
        "37 mm J7 with outer ring, class normal: 25 µm clearance to 11 µm interference, probably "
    )
    free = run("37", "--band", "-42", "-17", "--with", "37", "--ring", "normal").output
    assert free.startswith("37 mm band with outer ring, class normal: interference of 6 to 42 µm")
    shaft = run("25", "--band", "2", "11", "--shaft", "--with", "25", "--ring", "6").output
    assert shaft.startswith("25 mm band with inner ring, class 6: interference of 2 to 19 µm")


def test_different_nominal_sizes_are_part_of_the_fit_and_said() -> None:
    """1.457 in is 37.0078 mm: the 7.8 µm go into the fit, and a line says so."""
    found = document("37", "P7", "--with", "1.457in", "--ring", "normal")
    assert found["nominal_step_um"] == 7.8
    assert found["interference_um"]["worst"] == {"low": 13.8, "high": 49.8}
    assert "+7.8 µm" in found["warnings"][0]


def test_a_bearing() -> None:
    """25x37x7: rings 0/-11 and 0/-10, clearance 5 to 20 µm (bearing catalogues)."""
    arguments = ("--bearing", "25x37x7", "--class", "normal", "--clearance", "N")
    result = run(*arguments)
    assert result.exit_code == 0
    assert result.output.startswith(
        "25x37x7, class normal: outside diameter 36.989 to 37.000 mm, bore 24.990 to 25.000 mm, "
        "radial\nclearance 5 to 20 µm (group N).\n"
    )
    assert "ISO 492 does not cover diameter series 8" in result.output
    found = document(*arguments)
    assert (found["outer_ring"]["lower_um"], found["inner_ring"]["lower_um"]) == (-11.0, -10.0)
    assert (found["clearance"]["low_um"], found["clearance"]["high_um"]) == (5.0, 20.0)
    assert found["listed"]["designation"] == "61805"
    assert document("--bearing", "25x37x7") == found  # normal and N where nothing is said


def test_a_bearing_that_is_not_listed_still_has_its_rings() -> None:
    """Ring limits follow from d and D; ratings are not made up."""
    found = document("--bearing", "26x38x7", "--clearance", "C3")
    assert found["listed"] is None
    assert found["outer_ring"]["lower_um"] == -11.0
    assert found["clearance"]["group"] == "3"
    assert "not among the sizes kept here" in run("--bearing", "26x38x7").output


def test_doubt_is_shown() -> None:
    """Values from memory, in dispute or seen once say so wherever they stand."""
    assert "DOUBTFUL: from memory, no source found" in run("2.5", "K9").output.replace("\n", " ")
    disputed = run("--bearing", "425x500x40", "--clearance", "5").output
    assert "DOUBTFUL: published sources disagree" in disputed
    assert "510 in a second table" in disputed
    once = " ".join(run("--bearing", "25x37x7", "--class", "4").output.split())
    assert "outer ring: ISO 492:2014, one published table (" in once
    assert "one published table" in run("37", "--band", "-62", "0").output.replace("\n", " ")


@pytest.mark.parametrize("arguments", [("1.457in", "P7"), ("1.457", "P7", "--unit", "in")])
def test_a_size_in_inches(arguments: tuple[str, ...]) -> None:
    """1.457 in is 37.0078 mm (25.4 mm to the inch); limits come in both units."""
    result = run(*arguments)
    assert result.output.startswith(
        "1.457 in (37.0078 mm) P7 is a hole of 36.9658 to 36.9908 mm (1.45535 to 1.45633 in).\n"
        "  deviations  -42 to -17 µm (-1.65 to -0.67 thou)\n"
    )
    found = document(*arguments)["limits"]
    assert found["nominal_mm"] == pytest.approx(1.457 * 25.4, abs=1e-9)
    assert found["low_in"] == pytest.approx((37.0078 - 0.042) / 25.4, abs=1e-8)


def test_a_band_in_thousandths_of_an_inch() -> None:
    """A size in inches takes its band in thou: -1 to 0 thou is -25.4 to 0 µm."""
    found = document("1.457in", "--band", "-1", "0")
    assert (found["band"]["lower_um"], found["band"]["upper_um"]) == (-25.4, 0.0)
    fit = document("1.457in", "P7", "--with", "1.457", "--ring", "normal")
    assert fit["interference_thou"]["worst"]["high"] == pytest.approx(42.0 / 25.4, abs=1e-6)
    assert fit["warnings"] == []


def test_an_inch_suffix_counts_over_the_unit_option() -> None:
    """A suffix says it all: 37mm stays 37 mm under --unit in."""
    assert document("37mm", "P7", "--unit", "in")["limits"]["nominal_mm"] == 37.0


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        ((), "give a size and a class (37 P7), or --bearing 25x37x7."),
        (("37",), "give either a class (P7) or --band LOWER UPPER."),
        (("37", "P7", "--band", "-42", "-17"), "give either a class (P7) or --band LOWER UPPER."),
        (("P7",), "the size must be a number, also with mm or in: got 'P7'."),
        (("nan", "P7"), "the size must be a number, also with mm or in: got 'nan'."),
        (("37", "P7", "--ring", "6"), "--ring belongs to --with SIZE."),
        (("37", "P7", "--shaft"), "--shaft belongs to --band; a class says it by its letter."),
        (("37", "P7", "--with", "37"), "--with a size needs the class of the ring: --ring normal."),
        (
            ("37", "P7", "--with", "g6", "--ring", "6"),
            "--ring needs a size in --with, not a class.",
        ),
        (("37", "P7", "--class", "6"), "these belong to --bearing: --class."),
        (
            ("37", "P7", "--bearing", "25x37x7"),
            "--bearing is a question of its own; leave out SIZE, CLASS.",
        ),
        (("37", "--band", "-17", "-42"), "--band needs its lower limit before a larger upper one."),
        (("37", "--band", "nan", "5"), "--band needs its lower limit before a larger upper one."),
        (("37", "--band", "-17"), "Option '--band' requires 2 arguments."),
    ],
)
def test_usage_errors(arguments: tuple[str, ...], message: str) -> None:
    """A question that cannot be asked ends with code 2 and says how to ask it."""
    result = run(*arguments)
    assert result.exit_code == 2
    assert result.stderr.endswith(f"Error: {message}\n")
    assert result.stdout == ""


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        (
            ("600", "H7"),
            "tolsim limits: the size is outside the table\n"
            "    found    600 mm\n"
            "    allowed  over 0 up to and including 500 mm\n"
            "    closest  500 mm\n",
        ),
        (
            ("37", "x7"),
            "tolsim limits: letter x is not kept here\n"
            "    found    x7\n"
            "    allowed  d e f g h j js k m n p r s t u\n"
            "    closest  u7\n",
        ),
        (
            ("37", "P7", "--with", "47", "--ring", "normal"),
            "tolsim limits: the two nominal sizes differ by more than 1 %: this is no fit\n"
            "    found    hole 37 mm, shaft 47 mm\n"
            "    allowed  one nominal size for both\n"
            "    closest  37 mm\n",
        ),
        (
            ("37", "P7", "--with", "H7"),
            "tolsim limits: a fit needs a hole and a shaft, not two holes\n"
            "    found    P7 with H7\n"
            "    allowed  a hole (capital letter) with a shaft (small letter)\n",
        ),
        (
            ("--bearing", "25x37x7", "--class", "3"),
            "tolsim limits: unknown tolerance class of a rolling bearing\n"
            "    found    3\n"
            "    allowed  normal, 6, 5, 4, 2 (ISO 492)\n"
            "    closest  4\n",
        ),
        (
            ("--bearing", "25x37"),
            "tolsim limits: this is no bearing size\n"
            "    found    '25x37'\n"
            "    allowed  bore x outside diameter x width in mm, bore < outside diameter: 25x37x7\n"
            "    closest  25x37x7\n",
        ),
    ],
)
def test_values_that_no_table_has(arguments: tuple[str, ...], message: str) -> None:
    """An unknown class or a size outside the tables ends with code 3 and names the nearest."""
    for extra in ((), ("--json",)):
        result = run(*arguments, *extra)
        assert result.exit_code == 3
        assert result.stderr == message
        assert result.stdout == ""


@settings(max_examples=60, deadline=None)
@given(
    size=st.one_of(st.integers(-10, 600).map(str), st.text(max_size=6)),
    word=st.one_of(st.from_regex(r"[a-zA-Z]{1,2}[0-9]{1,2}", fullmatch=True), st.text(max_size=5)),
)
def test_no_question_ends_in_a_traceback(size: str, word: str) -> None:
    """Whatever is typed, the command answers or says no with a code of its own."""
    result = run("--", size, word)
    assert result.exit_code in (0, 2, 3), (size, word, result.output)


def test_no_heavy_library_is_loaded() -> None:
    """A look-up runs without numpy, scipy, pandas, matplotlib or pydantic."""
    script = (
        "import sys\n"
        "from tolsim.cli.limits import command\n"
        "command(['37', 'P7', '--with', '37', '--ring', 'normal'], standalone_mode=False)\n"
        "heavy = ('numpy', 'scipy', 'pandas', 'matplotlib', 'pydantic', 'jinja2', 'rich')\n"
        "print([m for m in heavy if m in sys.modules])\n"
    )
    done = subprocess.run(
        [sys.executable, "-c", script], capture_output=True, text=True, check=True
    )
    assert done.stdout.splitlines()[-1] == "[]"


def test_the_same_question_gives_the_same_bytes() -> None:
    """No clock, no path: two runs print the same document."""
    arguments = ("37", "--band", "-40", "-20", "--json")
    assert run(*arguments).stdout == run(*arguments).stdout
