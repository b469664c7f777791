"""A study and all it pulls in: names, folders, digests, and what does not go together."""

from __future__ import annotations

import hashlib
import io
import os
from pathlib import Path

import pytest

from tests.studies import machine, write
from tolsim.errors import Problem, SpecError
from tolsim.spec.files import specs_root
from tolsim.spec.load import available_parts, load_part, load_study

READINGS = '[[diameter.route]]\nstep = "readings"\nfile = "b.csv"\ncolumn = "d_mm"\n'
CSV = "d_mm\n36.978\n36.981\n36.979\n"


def _problems(folder: Path | str) -> list[Problem]:
    with pytest.raises(SpecError) as caught:
        load_study(folder)
    return list(caught.value.problems)


def _edit(path: Path, old: str, new: str) -> None:
    text = path.read_text()
    assert old in text
    path.write_text(text.replace(old, new, 1))


def test_file_or_folder(tmp_path: Path) -> None:
    """The folder and the file in it are the same study; its name tells no more than two steps."""
    folder = write(tmp_path / "question")
    assert load_study(folder).spec == load_study(folder / "study.toml").spec
    assert load_study(folder).name == "question/study.toml"


def test_digests(tmp_path: Path) -> None:
    """Each file that took part stands among the sources, by name and SHA-256, readings too."""
    folder = write(tmp_path / "q", bore_route=READINGS)
    (folder / "bores" / "b.csv").write_text(CSV)
    (folder / "bores" / "unused.toml").write_text("not read [")
    sources = {s.name: s.sha256 for s in load_study(folder).sources}
    files = {
        "q/study.toml": folder / "study.toml",
        "bores/b.toml": folder / "bores" / "b.toml",
        "bearings/r.toml": folder / "bearings" / "r.toml",
        "bores/b.csv": folder / "bores" / "b.csv",
    }
    assert sources == {n: hashlib.sha256(p.read_bytes()).hexdigest() for n, p in files.items()}


def test_own_parts_come_first(tmp_path: Path) -> None:
    """A part in the study's folder is taken before one of the same name in specs."""
    names = available_parts()
    assert names["bores/north-reamed"] == specs_root() / "bores" / "north-reamed.toml"
    folder = write(tmp_path)
    _edit(folder / "study.toml", "bearings/r", "bearings/25x37x7-good")
    theirs = load_study(folder).strata[0].bearing.title
    (folder / "bearings" / "25x37x7-good.toml").write_bytes(
        (folder / "bearings" / "r.toml").read_bytes()
    )
    assert load_study(folder).strata[0].bearing.title == "made for a test"
    assert theirs != "made for a test"
    assert available_parts(folder)["bearings/25x37x7-good"].parent == folder / "bearings"


def test_standard_input(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A study from standard input finds its parts in the working folder, under the same cap."""
    folder = write(tmp_path)
    text = (folder / "study.toml").read_bytes()
    monkeypatch.chdir(folder)

    class _Input:
        def __init__(self, data: bytes) -> None:
            self.buffer = io.BytesIO(data)

    monkeypatch.setattr("sys.stdin", _Input(text))
    assert load_study("-").name == "standard input"
    monkeypatch.setattr("sys.stdin", _Input(text + b"#\n" * 200_000))
    (problem,) = _problems("-")
    assert (problem.file, problem.message) == ("standard input", "is too large")


def test_supplies(tmp_path: Path) -> None:
    """A supply replaces what the joint names, and keeps the rest."""
    rows = (
        '[[supply]]\nname = "a"\nshare = 0.25\nbore = "bores/c"\n'
        '[[supply]]\nname = "b"\nshare = 0.75\n'
    )
    folder = write(tmp_path, study_more=rows)
    (folder / "bores" / "c.toml").write_bytes((folder / "bores" / "b.toml").read_bytes())
    a, b = load_study(folder).strata
    assert (a.names["bore"], a.names["bearing"], a.share) == ("bores/c", "bearings/r", 0.25)
    assert (b.names["bore"], b.share) == ("bores/b", 0.75)


@pytest.mark.parametrize(
    ("file", "message", "near"),
    [
        ("c.csv", "no such file beside the part", "b.csv"),
        ("../b.csv", "names may not climb out of their folder", None),
        ("/etc/hostname", "absolute paths are not followed", None),
        ("ftp://x/b.csv", "only files on this disk are read", None),
        ("link.csv", "lies outside the study's folder", None),
        ("x" * 390, "no such file beside the part", None),
        ("pipe.csv", "no such file beside the part", None),
        (".", "no such file beside the part", None),
    ],
)
def test_names_of_readings(tmp_path: Path, file: str, message: str, near: str | None) -> None:
    """Readings are read beside their part only; anything else is told with line and key."""
    folder = write(tmp_path / "in", bore_route=READINGS.replace("b.csv", file))
    (folder / "bores" / "b.csv").write_text(CSV)
    (tmp_path / "out.csv").write_text(CSV)
    (folder / "bores" / "link.csv").symlink_to(tmp_path / "out.csv")
    if hasattr(os, "mkfifo"):
        os.mkfifo(folder / "bores" / "pipe.csv")
    (problem,) = _problems(folder)
    assert (problem.message, problem.key) == (message, "diameter.route[0].file")
    assert problem.line == 14
    if near is not None:
        assert problem.closest == near


@pytest.mark.parametrize("name", ["x" * 300, "x" * 5000, "bores/\\u0000", ".", "", "bores/b.toml"])
def test_names_of_parts_that_are_none(tmp_path: Path, name: str) -> None:
    """Names that no file can have are faults of the study, never of the program."""
    folder = write(tmp_path)
    _edit(folder / "study.toml", '"bores/b"', f'"{name}"')
    problems = _problems(folder)
    assert all(p.message for p in problems)
    with pytest.raises(SpecError):
        load_study(folder, allow_outside=True)


def test_outside_is_allowed_when_asked(tmp_path: Path) -> None:
    """With leave, names may climb out of the folder."""
    write(tmp_path / "one")
    folder = write(tmp_path / "two")
    _edit(folder / "study.toml", "bores/b", "../one/bores/b")
    assert "climb out" in _problems(folder)[0].message
    assert load_study(folder, allow_outside=True).strata[0].names["bore"] == "../one/bores/b"


def test_a_part_alone(tmp_path: Path) -> None:
    """A part is checked whole by itself, with its readings."""
    folder = write(tmp_path, bore_route=READINGS)
    with pytest.raises(SpecError, match="no such file beside the part"):
        load_part(folder / "bores" / "b.toml")
    (folder / "bores" / "b.csv").write_text(CSV)
    assert load_part(folder / "bores" / "b.toml").title == "made for a test"


def test_a_file_is_told_once(tmp_path: Path) -> None:
    """A faulty part that three supplies name is told once."""
    rows = "".join(f'[[supply]]\nname = "{n}"\nshare = 0.25\n' for n in "abcd")
    folder = write(tmp_path, study_more=rows)
    _edit(folder / "bores" / "b.toml", "span_mm = 82.0", "span_mm = -1")
    assert len(_problems(folder)) == 1


SUPPLY = '[[supply]]\nname = "{}"\nshare = {}\n'


@pytest.mark.parametrize(
    ("more", "limits", "told"),
    [
        (
            SUPPLY.format("a", 0.5) + SUPPLY.format("b", 0.4),
            None,
            {(6, "supply", "shares of the supplies must add up to 1, they give 0.9")},
        ),
        (
            SUPPLY.format("a", 0.5) + SUPPLY.format("a", 0.5),
            None,
            {(10, "supply[1].name", "two supplies have the same name: a")},
        ),
        ("", "", {(7, "limits", "nothing counts as failed")}),
        (
            "",
            "loose = { creep = true, separation = true }",
            {(8, "limits.loose", "separation and creep need a load")},
        ),
        (
            SUPPLY.format("a", 0.5) + SUPPLY.format("a", 0.4),
            "loose = { creep = true }",
            {
                (6, "supply", "shares of the supplies must add up to 1, they give 0.9"),
                (10, "supply[1].name", "two supplies have the same name: a"),
                (13, "limits.loose", "creep needs a load"),
            },
        ),
    ],
)
def test_contradictions(
    tmp_path: Path, more: str, limits: str | None, told: set[tuple[int, str, str]]
) -> None:
    """What single keys cannot show is told, all at once, although another key is wrong too."""
    folder = write(
        tmp_path,
        study_more=more.rstrip("\n"),
        limits="loose = { interference_um = 0 }" if limits is None else limits,
    )
    assert {(p.line, p.key, p.message) for p in _problems(folder)} == told
    _edit(folder / "study.toml", "title = ", "targets = { tight = 7 }\ntitle = ")
    found = {(p.line, p.key, p.message) for p in _problems(folder)}
    moved = {(line + 1, key, message) for line, key, message in told}
    assert found == moved | {(1, "targets.tight", "out of range")}


def test_a_load_that_is_faulty_is_not_also_missing(tmp_path: Path) -> None:
    """A load of the wrong kind is told once, not as missing as well."""
    folder = write(
        tmp_path,
        study_more='[service]\nseat_load_N = "much"',
        limits="loose = { creep = true }",
    )
    (problem,) = _problems(folder)
    assert problem.key == "service.seat_load_N"


def test_parts_are_looked_at_though_the_study_is_faulty(tmp_path: Path) -> None:
    """Faults of every file come together: the study's, the parts' and that parts cannot meet."""
    folder = write(tmp_path)
    _edit(folder / "study.toml", 'title = "made for a test"', "title = 3\ncolour = 1")
    _edit(folder / "bores" / "b.toml", "nominal_mm = 37.0", "nominal_mm = 39.0")
    assert [(p.line, p.key) for p in _problems(folder)] == [(1, "title"), (2, "colour")]
    _edit(folder / "study.toml", "title = 3", 'title = "x"')
    assert [p.message for p in _problems(folder)] == [
        "unknown key",
        "all parts: bore and bearing cannot meet",
    ]


def test_misalignment_needs_an_alignment(tmp_path: Path) -> None:
    """Limits on misalignment ask for the bore's alignment."""
    folder = write(
        tmp_path, limits="misaligned = { angle_deg = 0.1 }", bore_route=machine("diameter", -20, 2)
    )
    (problem,) = _problems(folder)
    assert problem.message == "all parts: the limits name misalignment, the bore no alignment"
    assert problem.found == "bores/b without [alignment]"


def test_study_that_is_not_there(tmp_path: Path) -> None:
    """A missing study, an endless name and a folder without study are told in one line."""
    for path in (tmp_path / "absent", tmp_path / ("x" * 5000), tmp_path):
        (problem,) = _problems(path)
        assert problem.message.startswith("cannot be read")
