"""Figures: repeatable, self-contained, legible, and telling the payload's numbers."""

from __future__ import annotations

import json
import re
import subprocess
import sys
import xml.etree.ElementTree as ET
from hashlib import sha256
from itertools import combinations
from typing import Any

import matplotlib
import pytest
from matplotlib.text import Text
from matplotlib.transforms import Bbox

from tests.report.studies import EVERY, HOSTILE, made, payload, pictures
from tolsim.report.figures import prediction_figures, prediction_pictures
from tolsim.report.figures_style import Sheet, drawing, shorten, wrapped
from tolsim.report.numbers import micrometres, share, share_range

SVG = "{http://www.w3.org/2000/svg}"
NAMES = {"parts.svg", "interference.svg", "misalignment.svg"}


def words(svg: str) -> list[str]:
    """Texts of a figure, in the order in which they are drawn."""
    return [
        "".join(t.itertext()).replace("\u00a0", " ") for t in ET.fromstring(svg).iter(f"{SVG}text")
    ]


@pytest.mark.parametrize("name", ["three shops", "tight only", "hostile"])
def test_repeats_byte_for_byte(name: str) -> None:
    """The same payload makes the same bytes; only what a study judges is drawn."""
    figures = prediction_figures(made(name))
    assert figures == {f"{f.name}.svg": f.svg for f in pictures(name).values()}
    assert set(figures) == (NAMES - {"misalignment.svg"} if name == "tight only" else NAMES)


_PRINT_DIGEST = """
import json, sys
from hashlib import sha256
from tolsim.report.figures import prediction_figures
figures = prediction_figures(json.load(sys.stdin))
print(sha256("".join(figures.values()).encode()).hexdigest())
"""


def test_another_process_makes_the_same_bytes() -> None:
    """Neither the hash seed of a process nor its clock gets into a figure."""
    svgs = "".join(f.svg for f in pictures("one shop").values())
    here = sha256(svgs.encode()).hexdigest()
    run = subprocess.run(
        [sys.executable, "-c", _PRINT_DIGEST],
        input=json.dumps(payload("one shop")),
        capture_output=True,
        text=True,
        check=True,
        env={"PYTHONHASHSEED": "7", "PYTHONPATH": ".", "SOURCE_DATE_EPOCH": "86400"},
    )
    assert run.stdout.strip() == here


def test_settings_of_the_user_do_not_matter() -> None:
    """What the user set for the drawing library changes nothing, and is left as it was."""
    plain = {f"{f.name}.svg": f.svg for f in pictures("one shop").values()}
    with matplotlib.rc_context({"font.size": 21.0, "svg.fonttype": "path", "axes.grid": True}):
        assert prediction_figures(payload("one shop")) == plain
        assert matplotlib.rcParams["font.size"] == 21.0
    assert (
        "matplotlib.pyplot" not in sys.modules or not sys.modules["matplotlib.pyplot"].get_fignums()
    )


@pytest.mark.parametrize("name", EVERY)
def test_svg_is_whole_and_asks_for_nothing(name: str) -> None:
    """Well-formed XML with title and description, no script, image, date or outside reference."""
    for f in pictures(name).values():
        svg = f.svg
        root = ET.fromstring(svg)
        assert root.get("role") == "img"
        assert root.find(f"{SVG}title") is not None
        assert root.find(f"{SVG}desc") is not None
        kinds = {e.tag.removeprefix(SVG) for e in root.iter()}
        assert not kinds & {"script", "image", "foreignObject", "a", "metadata"}
        for e in root.iter():
            for key, value in e.attrib.items():
                assert not key.lower().startswith("on")
                if key.endswith("href"):
                    assert value.startswith("#")
        assert "<!DOCTYPE" not in svg
        without_names = re.sub(r'xmlns(:\w+)?="[^"]*"', "", svg)
        assert "://" not in without_names
        assert len(svg) < 120_000


def test_text_stays_text() -> None:
    """Letters are kept as letters in a generic font, so that a search finds them."""
    for f in pictures("one shop").values():
        assert "sans-serif" in f.svg
        assert any("How to read it" in w for w in words(f.svg))


def test_words_of_files_are_drawn_as_they_are() -> None:
    """Formula signs and markup in names stay characters; controls are dropped."""
    shown = " ".join(w for f in pictures("hostile").values() for w in words(f.svg))
    assert "<b>bold</b> & $x^2$ \\alpha" in shown
    assert "鉄工所" in shown
    assert "\u202e" not in shown
    assert "\x1b" not in shown


@pytest.mark.parametrize(
    ("name", "alone"), [*((name, True) for name in EVERY), ("three shops", False), ("many", False)]
)
def test_every_word_lies_on_the_sheet(
    name: str, alone: bool, monkeypatch: pytest.MonkeyPatch
) -> None:
    """No text is cut off or lies on another, in letters as wide as ours; a sheet fits on A4."""
    sheets: list[Sheet] = []
    plain = Sheet.svg

    def kept(self: Sheet, **how: str) -> str:
        sheets.append(self)
        return plain(self, **how)

    monkeypatch.setattr(Sheet, "svg", kept)
    prediction_pictures(made(name), alone=alone)
    assert len(sheets) >= 2
    seen = 0
    for sheet in sheets:
        assert sheet.width * 25.4 <= 210 - 30
        assert sheet.height * 25.4 <= 297 - 32
        with drawing():
            boxes = _boxes(sheet)
        page = sheet.figure.bbox
        seen += len(boxes)
        for text, box in boxes:
            assert box.x0 >= page.x0, text
            assert box.x1 <= page.x1, text
            assert box.y0 >= page.y0, text
            assert box.y1 <= page.y1, text
        for (one, a), (two, b) in combinations(boxes, 2):
            assert _shared(a, b) <= 0.0, (one, two)
    assert seen > 40


def _boxes(sheet: Sheet) -> list[tuple[str, Bbox]]:
    """Every text that is really drawn, with its box in pixels."""
    from matplotlib.backends.backend_agg import FigureCanvasAgg, RendererAgg

    drawn: list[Text] = []

    class Listening(RendererAgg):  # type: ignore[misc, unused-ignore]
        def draw_text(self, *args: Any, mtext: Any = None, **kwargs: Any) -> None:
            drawn.append(mtext)

    FigureCanvasAgg(sheet.figure)
    size = sheet.figure.bbox.size
    renderer: Any = Listening
    sheet.figure.draw(renderer(size[0], size[1], sheet.figure.dpi))
    return [(t.get_text(), t.get_window_extent()) for t in drawn if t is not None]


def _shared(a: Bbox, b: Bbox) -> float:
    """Common area beyond a hair [square pixels]; lines of text may touch."""
    width = min(a.x1, b.x1) - max(a.x0, b.x0) - 1.0
    height = min(a.y1, b.y1) - max(a.y0, b.y0) - 3.0
    return width * height if width > 0.0 and height > 0.0 else 0.0


@pytest.mark.parametrize("name", EVERY)
def test_letters_are_large_enough(name: str) -> None:
    """No letter is below 8 points on paper."""
    for f in pictures(name).values():
        sizes = [float(s) for s in re.findall(r"font(?:-size)?: (?:\w+ )*([\d.]+)px", f.svg)]
        assert sizes
        assert min(sizes) >= 8.0


def test_parts_say_what_they_show() -> None:
    """Number of readings or "assumed" beside every box, and what box, line, whiskers mean."""
    shown = words(pictures("three shops")["parts"].svg)
    assert shown.count("seat left, 20 readings") == 1
    assert shown.count("seat right, 30 readings") == 1
    assert shown.count("assumed") == 2
    told = " ".join(shown)
    for word in ("box = middle half", "thick line = median", "whiskers =", "drawing band"):
        assert word in told
    assert "−32.0 µm" in shown
    assert "−16.0 µm" in shown


def test_alternative_text_of_parts_tells_the_payload() -> None:
    """Every median, quartile, whisker and band of a drawn feature stands in the words."""
    p = payload("three shops")
    alt = pictures("three shops")["parts"].alt
    for q in p["pictures"]["parts"]:
        if q["feature"] == "bearing.clearance":
            continue
        a, b, c = (micrometres(q[k]) for k in ("median_um", "q1_um", "q3_um"))
        assert f"median {a} µm, middle half {b} to {c} µm" in alt
        low, high = (micrometres(v) for v in q["band_um"])
        assert f"band {low} to {high} µm" in alt
    assert alt.count("reaches") == 3  # both seats of Coast, and Ridge
    assert alt.count("stays inside") == 3


@pytest.mark.parametrize("name", ["one shop", "three shops", "none fails", "most fail"])
def test_alternative_text_of_interference_tells_the_payload(name: str) -> None:
    """Shares of both modes at both seats, with their intervals, and the range of each build."""
    p, picture = payload(name), pictures(name)["interference"]
    shown = words(picture.svg)
    for s in p["seats"]:
        for mode, word in (("loose", "loose"), ("tight", "overly tight")):
            m = s["modes"][mode]
            ends = share_range(m["low"], m["high"])
            told = share(m["share"], m["low"], m["high"])
            if m["share"] == 0.0:
                assert f"{word} none in {p['draws']:,} drawn ({ends})" in picture.alt
                assert f"{word}: none seen" in shown
            else:
                assert f"{word} {told} ({ends})" in picture.alt
                assert f"{word}: {told} of seats" in shown
        for r in s["interference"]:
            low, high = (micrometres(v) for v in r["simulated_um"])
            assert f"between {low} and {high} µm" in picture.alt


def test_none_failed_is_said() -> None:
    """Where no drawn unit failed the picture says so, and names the limits all the same."""
    told = " ".join(words(pictures("none fails")["interference"].svg))
    assert "Loose = fails at interference (at least −10 µm)" in told
    assert told.count("none failed among 16,384 units drawn") == 2
    assert "limit on interference −10.0 µm" in told
    assert "contact ends 0.0 µm" in told


def test_a_mode_that_is_not_judged_is_said() -> None:
    """Without a loose limit the picture says that loose is not judged."""
    picture = pictures("tight only")["interference"]
    assert words(picture.svg).count("loose: not judged") == 2
    assert "loose not judged" in picture.alt


def test_a_share_that_no_drawn_unit_shows() -> None:
    """A rate found without counting is told as a rate, and that no drawn unit shows it."""
    p = payload("none fails")
    for holder in (p, *p["seats"]):
        holder["modes"]["loose"] |= {"share": 2e-8, "low": 1e-8, "high": 4e-8}
    picture = prediction_pictures(p)[1]
    assert "loose: 0.020 per million of seats" in words(picture.svg)
    assert "loose 0.020 per million (0.010 to 0.040 per million, none in 16,384" in picture.alt


@pytest.mark.parametrize("name", ["one shop", "three shops", "none fails", "most fail"])
def test_misalignment_tells_its_causes(name: str) -> None:
    """Each curve carries its share beyond the limit, in the picture and in the words."""
    p, picture = payload(name), pictures(name)["misalignment"]
    shown = words(picture.svg)
    for c in p["pictures"]["misalignment"]["quantities"]:
        o = next(o for o in p["causes"] if (o["cause"], o["seat"]) == (c["cause"], c["seat"]))
        between = "" if c["unit"] == "°" else " "
        bound = f"{c['bound']:g}{between}{c['unit']}"
        assert f"{share(o['share'], o['low'], o['high'])} beyond {bound}" in shown
        assert f"beyond {bound} ({share_range(o['low'], o['high'])})" in picture.alt
        at_limit = next(row for row in picture.tables[0].rows if row[0] == "1")
        assert len(at_limit) == 1 + len(p["pictures"]["misalignment"]["quantities"])


def test_free_tilt_is_not_forgotten() -> None:
    """A limit that moves from unit to unit has no curve; the picture says what it does."""
    told = " ".join(words(pictures("three shops")["misalignment"].svg))
    assert "Not drawn, because its limit moves from unit to unit: free tilt at −10 °C" in told


@pytest.mark.parametrize("name", EVERY)
def test_tables_state_units(name: str) -> None:
    """Every column of numbers has its unit in its head, or each cell has its own."""
    for picture in pictures(name).values():
        for table in picture.tables:
            assert table.rows
            for i, head in enumerate(table.head[1:], 1):
                column = [row[i] for row in table.rows]
                alone = [c for c in column if re.fullmatch(r"[−\d.,]+", c)]
                assert not alone or re.search(r"\[.+\]$", head), (head, alone[:3])


def test_many_supplies_are_told_whole_in_the_table() -> None:
    """Where not all rows can be drawn the picture says so; the table holds them all."""
    parts = pictures("many")["parts"]
    assert "37 more rows stand in the table only." in words(parts.svg)
    assert len(parts.tables[0].rows) == 51
    assert "Bearing rings, outside" in words(parts.svg)


def test_hostile_words_reach_no_markup() -> None:
    """Title and description escape what a file says."""
    svg = pictures("hostile")["parts"].svg
    desc = ET.fromstring(svg).findtext(f"{SVG}desc")
    assert desc is not None
    assert HOSTILE in desc
    assert "<b>" not in svg


def test_shorten_and_wrap() -> None:
    """Wide letters count twice; no line parts a number from its unit."""
    assert shorten("鉄工所東海岸", 8) == "鉄工所…"
    assert wrapped("at most 20 °C", 12) == ["at most", "20\u00a0°C"]
