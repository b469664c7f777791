"""Every fault at once: file, line, key, what was found, what is allowed, the closest key."""

from __future__ import annotations

import os
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from tests.studies import machine, write
from tolsim.errors import Problem, SpecError
from tolsim.spec.load import load_part, load_study


def _problems(folder: Path) -> list[Problem]:
    with pytest.raises(SpecError) as caught:
        load_study(folder)
    return list(caught.value.problems)


def _edit(path: Path, old: str, new: str) -> None:
    text = path.read_text()
    assert old in text
    path.write_text(text.replace(old, new, 1))


def test_ten_faults_over_three_files(tmp_path: Path) -> None:
    """Ten different faults give ten diagnoses, each at its line."""
    write(tmp_path, bore_route=machine("diameter", -20, 2))
    study, bore, ring = (tmp_path / n for n in ("study.toml", "bores/b.toml", "bearings/r.toml"))
    _edit(study, "interference_um = 0", 'interference_um = "none", seperation = true')  # two
    _edit(study, 'kind = "pressed"', 'kind = "presed"')
    _edit(bore, "span_mm = 82.0", "span_mm = true")
    _edit(bore, "band_um = [-30.0, -10.0]", "band_um = [5, -12]")
    _edit(bore, "sd_um = 2", "sdd_um = 2")
    _edit(bore, 'material = "steel-4130"', 'material = "steel-4103"')
    _edit(bore, "seat_width_mm = 7.0", "seat_width_mm = -7.0")
    _edit(ring, "width_mm = 7.0", "width_mm = 1e400")
    _edit(ring, 'basis = "assumed"', 'basis = "guessed"')
    found = _problems(tmp_path)
    told = {(Path(p.file).name, p.line, p.key): p for p in found}
    assert len(found) >= 10
    assert told["study.toml", 8, "limits.loose.interference_um"].message == "expected a number"
    unknown = told["study.toml", 8, "limits.loose.seperation"]
    assert unknown.message == "unknown key"
    assert unknown.closest == "separation"
    assert told["study.toml", 3, "joint.kind"].closest == "pressed"
    assert told["b.toml", 7, "span_mm"].found == "span_mm = true"
    band = told["b.toml", 11, "diameter.band_um"]
    assert band.message == "lower limit must be below the upper"
    assert band.found == "band_um = [5, -12]"
    assert band.allowed == "[lower, upper] with lower < upper"
    step = told["b.toml", 15, "diameter.route[0].sdd_um"]
    assert step.closest == "sd_um"
    assert told["b.toml", 6, "seat_width_mm"].allowed == "above 0 mm"
    assert told["r.toml", 3, "basis"].allowed == "measured, drawing, assumed"
    assert told["r.toml", 6, "width_mm"].message == "expected a finite number"


@pytest.mark.parametrize(
    ("file", "old", "new", "key", "message"),
    [
        (
            "bearings/r.toml",
            "[clearance]\nband_um = [13, 28]",
            "[clearance]\ncapability = 1.0",
            "clearance",
            "neither a band nor a route says what the parts measure",
        ),
        (
            "bores/b.toml",
            'material = "steel-4130"',
            'material = { name = "x", young_MPa = 3e3, poisson = 0.3, expansion_per_K = 1e-5, '
            'swelling_radial = 0.2, source = "x" }',
            "material",
            "swelling_radial needs the swelling along the hoop beside it",
        ),
        (
            "bores/b.toml",
            'material = "steel-4130"',
            'material = { name = "x", young_MPa = 3e3, poisson = 0.3, expansion_per_K = 1e-5, '
            'swellling = 0.2, source = "x" }',
            "material.swellling",
            "unknown key",
        ),
    ],
)
def test_faults_of_what_may_be_a_name_or_a_table(
    tmp_path: Path, file: str, old: str, new: str, key: str, message: str
) -> None:
    """The key stands as in the file, whatever kinds of value it allows."""
    write(tmp_path)
    _edit(tmp_path / file, old, new)
    (problem,) = _problems(tmp_path)
    assert (problem.key, problem.message) == (key, message)


def test_unknown_material(tmp_path: Path) -> None:
    """A material that the table lacks names its neighbour."""
    write(tmp_path)
    _edit(tmp_path / "bores/b.toml", "steel-4130", "steel-4103")
    (p,) = _problems(tmp_path)
    assert (p.line, p.key, p.message) == (4, "material", "unknown material")
    assert p.closest == "steel-4130"


def test_the_text_of_a_problem(tmp_path: Path) -> None:
    """A problem reads word for word as designed."""
    write(tmp_path, bore_route=machine("diameter", -20, 2))
    _edit(tmp_path / "bores/b.toml", "sd_um = 2", "sdd_um = 2")
    first = next(p for p in _problems(tmp_path) if p.message == "unknown key")
    lines = first.text().splitlines()
    assert lines[0].endswith("bores/b.toml:15: diameter.route[0].sdd_um: unknown key")
    assert lines[1] == "    found    sdd_um = 2"
    assert lines[-1] == "    closest  sd_um"


@pytest.mark.parametrize(
    ("old", "new", "key", "message"),
    [
        ('bore = "bores/b"', 'bore = "bores/x"', "joint.bore", "no such part"),
        ('bore = "bores/b"', 'bore = "../bores/b"', "joint.bore", "climb out"),
        ('bore = "bores/b"', 'bore = "/etc/passwd"', "joint.bore", "absolute"),
        ('bore = "bores/b"', 'bore = "http://x/y"', "joint.bore", "only files on this disk"),
        ('bore = "bores/b"', 'bore = "bearings/r"', "joint.bore", "is a bearing, not a bore"),
        ('bearing = "bearings/r"', "", "joint", "needs bearing"),
        ('kind = "pressed"', 'kind = "sleeved"', "joint", "needs sleeve"),
    ],
)
def test_names_of_parts(tmp_path: Path, old: str, new: str, key: str, message: str) -> None:
    """A part that is absent, elsewhere or of another kind is a fault with its line."""
    write(tmp_path)
    _edit(tmp_path / "study.toml", old, new)
    hits = [p for p in _problems(tmp_path) if p.key == key and message in p.message]
    assert hits
    assert hits[0].line is not None


def test_parts_that_cannot_meet(tmp_path: Path) -> None:
    """Nominal sizes more than 1 mm apart are a fault."""
    write(tmp_path)
    _edit(tmp_path / "bores/b.toml", "nominal_mm = 37.0", "nominal_mm = 39.0")
    (p,) = _problems(tmp_path)
    assert "cannot meet" in p.message
    assert p.found == "bore 39 mm, ring 37 mm"


def test_the_same_part_twice(tmp_path: Path) -> None:
    """One file in two roles is a fault."""
    write(tmp_path)
    _edit(tmp_path / "study.toml", 'bearing = "bearings/r"', 'bearing = "bores/b"')
    assert any("used twice" in p.message for p in _problems(tmp_path))


def test_supply_shares(tmp_path: Path) -> None:
    """Shares that do not add up to 1, and equal names, are faults."""
    supply = '[[supply]]\nname = "a"\nshare = 0.5\n[[supply]]\nname = "a"\nshare = 0.4\n'
    write(tmp_path, study_more=supply)
    assert any("add up to 1" in p.message for p in _problems(tmp_path))


def test_units(tmp_path: Path) -> None:
    """Another unit of the same dimension gives the same record; both at once are a fault."""
    write(tmp_path, bore_route=machine("diameter", -20, 2))
    bore = tmp_path / "bores" / "b.toml"
    metric = load_part(bore)
    _edit(bore, "span_mm = 82.0", f"span_in = {82.0 / 25.4!r}")
    _edit(bore, "band_um = [-30.0, -10.0]", f"band_thou = [{-30 / 25.4!r}, {-10 / 25.4!r}]")
    _edit(bore, "mean_um = -20\nsd_um = 2", "mean_mm = -0.020\nsd_mm = 0.002")
    inch = load_part(bore)
    for name in ("span",):
        assert getattr(inch, name) == pytest.approx(getattr(metric, name), rel=1e-15)
    assert inch.diameter.band == pytest.approx(metric.diameter.band, rel=1e-12)  # type: ignore[attr-defined]
    _edit(bore, "span_in", "span_mm = 82.0\nspan_in")
    with pytest.raises(SpecError, match="given twice, in two units"):
        load_part(bore)


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("a = 1\na = 2\n", "not valid TOML"),
        ("a = [" + "[" * 40, "nested too deep"),
        ("x = '" + "a" * 5000 + "'\n", "line is too long"),
        ("#" * 300_000, "is too large"),
        ("\x00", "not valid TOML"),
    ],
)
def test_hostile_documents(tmp_path: Path, text: str, message: str) -> None:
    """What is no sensible TOML ends in one line, not in a traceback."""
    (tmp_path / "study.toml").write_text(text)
    (p,) = _problems(tmp_path)
    assert message in p.message


def test_not_utf8(tmp_path: Path) -> None:
    """Bytes that are no UTF-8 are told with their line."""
    (tmp_path / "study.toml").write_bytes(b"title = 'a'\nx = '\xff'\n")
    (p,) = _problems(tmp_path)
    assert (p.line, p.message) == (2, "is not UTF-8 text")


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="not a POSIX system")
def test_no_regular_file(tmp_path: Path) -> None:
    """A pipe in place of a part is refused at once."""
    write(tmp_path)
    (tmp_path / "bores" / "b.toml").unlink()
    os.mkfifo(tmp_path / "bores" / "b.toml")
    assert _problems(tmp_path)


def test_links_out_of_the_folder(tmp_path: Path) -> None:
    """A link that leaves the study's folder is not followed unless that is allowed."""
    inside, outside = tmp_path / "in", tmp_path / "out"
    write(inside)
    outside.mkdir()
    (inside / "bores" / "b.toml").rename(outside / "b.toml")
    (inside / "bores" / "b.toml").symlink_to(outside / "b.toml")
    assert any("outside" in p.message for p in _problems(inside))
    assert load_study(inside, allow_outside=True).strata


@settings(
    max_examples=150, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
@given(data=st.binary(max_size=400))
def test_any_bytes(tmp_path: Path, data: bytes) -> None:
    """Any bytes as a study are a study or a list of problems."""
    (tmp_path / "study.toml").write_bytes(data)
    with pytest.raises(SpecError):
        load_study(tmp_path)


@settings(
    max_examples=150, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
@given(
    cut=st.integers(0, 400),
    insert=st.text(alphabet="[]{}='\"\n,.#-0e_abc µ", max_size=12),
)
def test_mutated_studies(tmp_path: Path, cut: int, insert: str) -> None:
    """A sensible study with something typed into it loads or is diagnosed."""
    write(tmp_path, bore_route=machine("diameter", -20, 2))
    path = tmp_path / "bores" / "b.toml"
    text = path.read_text()
    path.write_text(text[:cut] + insert + text[cut:])
    try:
        load_study(tmp_path)
        problems = [Problem(file="none", message="loads")]
    except SpecError as e:
        problems = list(e.problems)
    assert problems
    assert all(p.message for p in problems)
