"""What all figures share: palette, sheet in inches, and SVG text that repeats byte for byte."""

from __future__ import annotations

import io
import re
import textwrap
import unicodedata
import warnings
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any
from xml.sax.saxutils import escape

from tolsim.report.numbers import clean, held

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

__all__ = ["Picture", "Sheet", "Table", "drawing", "shorten", "wrapped"]

# Colours that stay apart with the common colour deficiencies:
# M. A. Petroff, "Accessible Color Sequences for Data Visualization", arXiv:2107.02270 (2021),
# the sequence of ten; those too pale for a line on white are left out.
BLUE, RED, PURPLE, BROWN, ORANGE, SLATE = (
    "#3f90da",
    "#bd1f01",
    "#832db6",
    "#a96b59",
    "#e76300",
    "#717581",
)
INK, FAINT, PALE = "#1f2327", "#5c6167", "#dfe2e5"

WIDTH = 6.8  # inches; with the margins, what A4 leaves
_MARGIN = 0.1  # inches on every side
_LINE = 0.165  # inches a line of small text
_COLUMNS = 102  # characters of small text across the sheet
SMALL, NORMAL = 8.5, 9.5  # points

_SETTINGS: dict[Any, Any] = {
    "font.family": ["sans-serif"],
    "font.sans-serif": ["DejaVu Sans"],  # comes with matplotlib; `sans-serif` follows in the file
    "font.size": NORMAL,
    "text.parse_math": False,
    "axes.unicode_minus": True,
    "axes.spines.top": False,
    "axes.spines.right": False,
    "axes.edgecolor": FAINT,
    "axes.labelcolor": INK,
    "axes.labelsize": NORMAL,
    "xtick.labelsize": SMALL,
    "ytick.labelsize": SMALL,
    "xtick.color": INK,
    "ytick.color": INK,
    "text.color": INK,
    "hatch.linewidth": 0.8,
    "svg.fonttype": "none",
    "svg.hashsalt": "tolsim",
    "path.simplify": False,
}


@dataclass(frozen=True, kw_only=True, slots=True)
class Table:
    """Numbers of a figure; the first column names the row, every head states its unit."""

    caption: str
    head: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]


@dataclass(frozen=True, kw_only=True, slots=True)
class Picture:
    """One figure with all that stands for it where it cannot be seen."""

    name: str
    title: str
    svg: str
    alt: str
    reading: str
    tables: tuple[Table, ...]


@contextmanager
def drawing() -> Iterator[None]:
    """Settings of our own, whatever the user's are, for as long as a figure is made."""
    import matplotlib

    with matplotlib.rc_context(), warnings.catch_warnings():
        # the viewer's fonts draw the text; ours only measure it
        warnings.filterwarnings("ignore", message="Glyph .* missing from font")
        matplotlib.rcdefaults()
        matplotlib.rcParams.update(_SETTINGS)
        yield


class Sheet:
    """A figure whose plots are placed in inches above lines of text.

    Parameters
    ----------
    plot : float
        Height of the plotting area [in]; `axes` are placed in it from its lower left corner.
    title, notes, reading, source : str and lines
        Heading, explanations that belong to the picture, the sentence on how to read it, and
        what it was drawn from. `title`, `reading`, `source` only stand in a file of its own; a
        page has them beside the picture.
    width : float
        Of the plotting area [in].
    """

    def __init__(
        self,
        plot: float,
        *,
        title: str,
        notes: Sequence[str],
        reading: str,
        source: str,
        alone: bool,
        width: float = WIDTH,
    ) -> None:
        from matplotlib.figure import Figure

        columns = round(_COLUMNS * width / WIDTH)
        written = [(line, INK, 0) for n in notes for line in wrapped(n, columns)]
        if alone:
            for text, colour in ((reading, INK), (source, FAINT)):
                lines = wrapped(text, columns)
                written += [(line, colour, int(i == 0)) for i, line in enumerate(lines)]
        gaps = sum(gap for *_, gap in written)
        self.below = _MARGIN + _LINE * (len(written) + 0.5 * gaps)
        self.height = self.below + plot + (0.3 if alone else 0.0) + _MARGIN
        self.width = width + 2.0 * _MARGIN
        self.figure: Figure = Figure(figsize=(self.width, self.height))
        if alone:
            self.write(0.0, plot + 0.16, title, size=11.0, weight="bold")
        y = -_LINE
        for line, colour, gap in written:
            y -= 0.5 * _LINE * gap
            self.write(0.0, y, line, size=SMALL, color=colour)
            y -= _LINE

    def axes(self, left: float, bottom: float, width: float, height: float) -> Axes:
        """Axes at a place in the plotting area [in]."""
        w, h = self.width, self.height
        return self.figure.add_axes(
            ((left + _MARGIN) / w, (bottom + self.below) / h, width / w, height / h),
            facecolor="none",
        )

    def write(self, x: float, y: float, text: str, **how: Any) -> None:
        """Text at a place in the plotting area [in]."""
        self.figure.text((x + _MARGIN) / self.width, (y + self.below) / self.height, text, **how)

    def svg(self, *, title: str, alt: str) -> str:
        """The figure as SVG text with its title and description."""
        from matplotlib.backends.backend_svg import FigureCanvasSVG

        FigureCanvasSVG(self.figure)
        out = io.StringIO()
        nothing = dict.fromkeys(("Creator", "Date", "Format", "Type"))
        self.figure.savefig(out, format="svg", metadata=nothing, facecolor="white")
        text = re.sub(r"<!DOCTYPE[^>]*>\s*", "", out.getvalue())
        text = re.sub(r"\s*<metadata>.*?</metadata>", "", text, flags=re.DOTALL)
        told = (
            f'<title id="title">{escape(clean(title))}</title>\n '
            f'<desc id="description">{escape(clean(alt))}</desc>'
        )
        head = r'\1 role="img" aria-labelledby="title description">' + "\n "
        opened, count = re.subn(r"(<svg\b[^>]*)>", head, text, count=1)
        if count != 1:
            raise ValueError("the drawing library wrote no <svg> element")
        at = opened.index(">", opened.index("<svg")) + 1
        return re.sub(r"[ \t]+\n", "\n", opened[:at] + "\n " + told + opened[at:].rstrip() + "\n")


def wrapped(text: str, columns: int = _COLUMNS) -> list[str]:
    """Lines of small text that fit the sheet; a number keeps its unit."""
    return textwrap.wrap(held(clean(text)), columns, break_on_hyphens=False)


def shorten(text: str, columns: int) -> str:
    """One line of at most so many columns, wide characters counted twice.

    >>> shorten("a name that goes on and on", 12)
    'a name that…'
    """
    line = " ".join(clean(text).split())
    used, kept = 0, ""
    for c in line:
        used += 2 if unicodedata.east_asian_width(c) in "WF" else 1
        if used > columns:
            return kept[: len(kept) - 1].rstrip() + "…"
        kept += c
    return line
