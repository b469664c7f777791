"""Hostile and broken files end in a diagnosis of one line, never in another exception."""

from __future__ import annotations

import contextlib
import os
import sys
from collections.abc import Callable
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from tests.spec.hostile import books, texts
from tolsim.errors import SpecError
from tolsim.spec.alignment_axes import Section, read_axes
from tolsim.spec.alignment_readings import Figures, read_alignment_figures
from tolsim.spec.overview import overview
from tolsim.spec.readings import Readings, read_readings
from tolsim.spec.settling_readings import read_two_ages
from tolsim.spec.tables import read_table
from tolsim.spec.wide import read_bores


def read(path: Path, shown: str | None = None) -> Readings:
    return read_readings(
        path,
        shown=shown or path.name,
        column="bore_mm",
        nominal_mm=37.0,
        side="side",
        unit="frame",
    )


def refuse(path: Path, part: str) -> None:
    with pytest.raises(SpecError) as caught:
        read(path)
    first = caught.value.problems[0].text()
    assert part in str(caught.value), first
    head = first.splitlines()[0]
    assert head.startswith(path.name)
    assert len(head) < 300
    assert str(path.parent) not in str(caught.value)
    assert all(c.isprintable() or c == "\n" for c in str(caught.value))


@pytest.mark.parametrize("name", sorted(texts.REFUSED))
def test_hostile_text_is_refused(tmp_path: Path, name: str) -> None:
    """Each hostile text ends with its own reason, no path and no control characters in it."""
    data, part = texts.REFUSED[name]
    path = tmp_path / f"{name}.csv"
    path.write_bytes(data)
    refuse(path, part)


@pytest.mark.parametrize("name", sorted(books.REFUSED))
def test_hostile_workbook_is_refused(tmp_path: Path, name: str) -> None:
    """Each hostile workbook ends with its own reason."""
    build, part = books.REFUSED[name]
    path = tmp_path / f"{name}.xlsx"
    path.write_bytes(build())
    refuse(path, part)


def test_good_files_are_read(tmp_path: Path) -> None:
    """The files that the hostile ones are made from are fine themselves."""
    text, book = tmp_path / "a.csv", tmp_path / "a.xlsx"
    text.write_text(texts.GOOD)
    book.write_bytes(books.good_book())
    assert read(text).exact == read(book).exact
    assert read(book).shown == "a.xlsx!Bores"


def test_a_wrong_dimension_hides_no_rows(tmp_path: Path) -> None:
    """What a sheet says about its own size is not believed."""
    row = b'<row r="4"><c r="A4" t="str"><v>F2</v></c><c r="B4" t="str"><v>left</v></c>'
    data = books.with_rows(row + b'<c r="C4"><v>36.97</v></c></row>')
    assert b"A1:C3" in books.changed(books.SHEET, lambda xml: xml) or True
    path = tmp_path / "a.xlsx"
    path.write_bytes(data)
    assert len(read(path)) == 3


@pytest.mark.parametrize(
    "address", ["http://example.org/a.csv", "https://x/a.csv", "s3://b/a.csv", "file:///etc/passwd"]
)
def test_addresses_are_not_loaded(address: str) -> None:
    """A file that looks like an address is refused before anything is opened."""
    with pytest.raises(SpecError, match="is an address, not a file"):
        read(Path(address), shown=address)


def test_what_is_no_regular_file_is_refused(tmp_path: Path) -> None:
    """Folders, missing files, devices and pipes nobody feeds end at once."""
    for path in (tmp_path, tmp_path / "none.csv", tmp_path / ("x" * 300), Path("a\0b")):
        with pytest.raises(SpecError):
            read(path, shown="x")
    if hasattr(os, "mkfifo"):
        os.mkfifo(tmp_path / "pipe.csv")
        with pytest.raises(SpecError, match="not a regular file"):
            read(tmp_path / "pipe.csv")
    if Path("/dev/zero").exists():
        with pytest.raises(SpecError, match="not a regular file"):
            read(Path("/dev/zero"), shown="zero")


def test_missing_packages_for_workbooks_are_named(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Without the packages for workbooks the message says what to install."""
    path = tmp_path / "a.xlsx"
    path.write_bytes(books.good_book())
    monkeypatch.setitem(sys.modules, "openpyxl", None)
    with pytest.raises(SpecError, match=r'pip install "tolsim\[excel\]"'):
        read(path)


def settled(path: Path) -> None:
    """Readings that add up, or a diagnosis; any other exception fails the test."""
    try:
        got = read(path)
    except SpecError:
        return
    assert got.rows_in == len(got) + len(got.excluded)


FUZZ = settings(
    max_examples=150,
    deadline=None,
    derandomize=True,
    suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow],
)

PIECES = st.sampled_from(
    [b"frame", b"side", b"bore_mm", b"left", b"36.978", b"36,9", b",", b";", b"\t", b"\n", b"\r"]
    + [b'"', b"'", b"#", b"-22", b"um", b"\xb5m", b"\xff\xfe", b"\xef\xbb\xbf", b"\0", b"sep=;\n"]
    + [b"1e", b"400", b"nan", b" ", b"\xe2\x80\xae", b"[mm]", b"mean", b"=A1", b"\xc2\xa0", b"."]
)


@FUZZ
@given(data=st.one_of(st.binary(max_size=200), st.lists(PIECES, max_size=40).map(b"".join)))
def test_any_bytes_are_readings_or_a_diagnosis(tmp_path: Path, data: bytes) -> None:
    """No text file ends in anything but readings or a SpecError."""
    path = tmp_path / "x.csv"
    path.write_bytes(data)
    settled(path)
    path.write_bytes(b"frame,side,bore_mm\n" + data)
    settled(path)


READERS: dict[str, tuple[bytes, Callable[[Path], object]]] = {
    "wide": (
        b"frame,side,z1 a0_mm,z1 a90_mm,z5 a0_mm\n",
        lambda p: read_bores(p, shown="x", nominal_mm=37.0, unit="frame", side="side"),
    ),
    "long": (
        b"frame,side,d_mm,z_mm,a_deg\n",
        lambda p: read_bores(
            p, shown="x", nominal_mm=37.0, column="d_mm", depth="z_mm", angle="a_deg", unit="frame"
        ),
    ),
    "axes": (
        b"frame,side,x_um,y_um,z_mm\n",
        lambda p: read_axes(
            p,
            shown="x",
            sections=(Section(x="x_um", y="y_um", depth="z_mm"),),
            unit="frame",
            side="side",
            depth_from="face",
        ),
    ),
    "figures": (
        b"frame,side,o_um,t_deg\n",
        lambda p: read_alignment_figures(
            p, shown="x", figures=Figures(offset="o_um", tilt="t_deg"), unit="frame"
        ),
    ),
    "two ages": (
        b"frame,bore_mm,age_h\n",
        lambda p: read_two_ages(
            p, shown="x", column="bore_mm", nominal_mm=37.0, age="age_h", unit="frame"
        ),
    ),
    "overview": (b"", lambda p: overview(read_table(p, shown="x"))),
}

ROWS = st.lists(
    st.lists(
        st.sampled_from(["F1", "F2", "left", "right", "36.98", "36.97", "-22", "0", "5", "72"])
        | st.sampled_from(["", "1", "2", "0.5", "90", "45", "1e400", "12,5", "mm", "um", "OK"]),
        min_size=3,
        max_size=6,
    ),
    max_size=12,
).map(lambda rows: "\n".join(",".join(row) for row in rows).encode())


@FUZZ
@given(
    which=st.sampled_from(sorted(READERS)),
    data=st.one_of(ROWS, st.lists(PIECES, max_size=30).map(b"".join)),
)
def test_every_reader_reads_or_diagnoses_any_rows(tmp_path: Path, which: str, data: bytes) -> None:
    """Wide, long, alignment and settling readers end in a result or a SpecError."""
    head, reader = READERS[which]
    path = tmp_path / "x.csv"
    path.write_bytes(head + data)
    with contextlib.suppress(SpecError):
        reader(path)


@FUZZ
@given(
    name=st.sampled_from([books.SHEET, "xl/workbook.xml", "xl/styles.xml", "[Content_Types].xml"]),
    at=st.floats(0, 1, exclude_max=True),
    cut=st.integers(0, 20),
    new=st.one_of(st.binary(max_size=8), PIECES),
)
def test_any_damaged_workbook_is_readings_or_a_diagnosis(
    tmp_path: Path, name: str, at: float, cut: int, new: bytes
) -> None:
    """A workbook with one entry overwritten anywhere ends in readings or a SpecError."""

    def damage(xml: bytes) -> bytes:
        i = int(at * len(xml))
        return xml[:i] + new + xml[i + cut :]

    path = tmp_path / "x.xlsx"
    path.write_bytes(books.changed(name, damage))
    settled(path)


@FUZZ
@given(at=st.floats(0, 1, exclude_max=True), new=st.binary(min_size=1, max_size=8))
def test_any_damaged_archive_is_readings_or_a_diagnosis(
    tmp_path: Path, at: float, new: bytes
) -> None:
    """A workbook with bytes of the archive overwritten ends in readings or a SpecError."""
    data = books.good_book()
    i = int(at * len(data))
    path = tmp_path / "x.xlsx"
    path.write_bytes(data[:i] + new + data[i + len(new) :])
    settled(path)
