"""Figures of a prediction as SVG: the parts, the interference, the misalignment."""

from __future__ import annotations

from typing import Any

from tolsim.report import figures_interference, figures_misalignment, figures_parts
from tolsim.report.figures_style import Picture, drawing
from tolsim.report.numbers import clean

__all__ = ["prediction_figures", "prediction_pictures"]

_DRAWERS = (figures_parts.picture, figures_interference.picture, figures_misalignment.picture)


def prediction_figures(payload: dict[str, Any]) -> dict[str, str]:
    """Figures of a payload ``tolsim/prediction/1`` made with detail: file name to SVG text.

    ``parts.svg``: box and whiskers of every shop's parts against the drawing band;
    ``interference.svg``: interference of both seats with the seats that failed;
    ``misalignment.svg``: share of units beyond any multiple of each limit. A figure that the
    study gives no ground for is left out. Same payload, same bytes, on the same libraries.

    Raises
    ------
    ValueError
        If the payload was made without ``pictures``.
    """
    return {f"{picture.name}.svg": picture.svg for picture in prediction_pictures(payload)}


def prediction_pictures(payload: dict[str, Any], *, alone: bool = True) -> list[Picture]:
    """The same figures with alt text, reading sentence and tables.

    `alone` writes heading, reading sentence and source into the drawing, for a file of its own;
    a page has them beside it.
    """
    if payload["pictures"] is None:
        raise ValueError("this payload has no pictures: predict with detail")
    with drawing():
        made = [draw(payload, source=_source(payload), alone=alone) for draw in _DRAWERS]
    return [picture for picture in made if picture is not None]


def _source(p: dict[str, Any]) -> str:
    return (
        f"{clean(p['study']['title'])} — {p['draws']:,} units drawn of each combination of parts, "
        f"seed {p['seed']}, tolsim {p['provenance']['tolsim']}."
    )
