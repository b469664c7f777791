"""Numbers as people read them: digits by their uncertainty, units beside them."""

from __future__ import annotations

import math
import re
import unicodedata

__all__ = ["clean", "held", "micrometres", "minus", "share", "share_range", "target"]

_NIL = 1e-9  # below this a share is told as a bound: no model of a seat is that good
_SMALL = 1e-3  # below this a share reads as parts per million


def _unit(reference: float) -> tuple[float, str]:
    return (1e6, " per million") if reference < _SMALL else (1e2, " %")


def share(value: float, low: float | None = None, high: float | None = None) -> str:
    """A share as per cent, or per million where it is small; digits as its interval allows.

    >>> share(0.05913, 0.0587, 0.0596)
    '5.91 %'
    >>> share(0.0, 0.0, 3.5e-6)
    'none seen'
    >>> share(2.3e-5)
    '23 per million'
    """
    if value == 0.0:
        return "none seen"
    if value < _NIL:
        return "below 0.001 per million"
    scale, unit = _unit(value)
    digits = 2
    if low is not None and high is not None and high > low:
        digits = max(2, min(4, 1 + math.ceil(-math.log10((high - low) / value))))
    return f"{_significant(value * scale, digits)}{unit}"


def share_range(low: float, high: float) -> str:
    """An interval of shares, rounded outwards; zero at the lower end is a bound.

    Both ends have one unit, unless that would leave the lower one with more zeros than digits.

    >>> share_range(0.0, 3.51e-6)
    'at most 3.6 per million'
    >>> share_range(0.011, 0.013)
    '1.1 to 1.3 %'
    >>> share_range(6.8e-6, 0.002)
    '6.8 per million to 0.20 %'
    """
    if high < _NIL:
        return "at most 0.001 per million"
    if low < 1e-3 * high:  # so far below that only the upper end says anything
        scale, unit = _unit(high)
        return f"at most {_outward(high * scale, up=True)}{unit}"
    if low < _SMALL / 10.0 <= high / 10.0:  # per cent would drown the lower end in zeros
        return f"{_apart(low, up=False)} to {_apart(high, up=True)}"
    scale, unit = _unit(high)
    digits = 2
    if high > low:
        digits = max(2, min(5, 1 + math.ceil(-math.log10((high - low) / high))))
    ends = (
        _outward(low * scale, up=False, digits=digits),
        _outward(high * scale, up=True, digits=digits),
    )
    return f"{ends[0]} to {ends[1]}{unit}"


def _apart(end: float, *, up: bool) -> str:
    scale, unit = _unit(end)
    return f"{_outward(end * scale, up=up)}{unit}"


def target(value: float) -> str:
    """A target as it was set.

    >>> target(0.002), target(1e-5)
    ('0.2 %', '10 per million')
    """
    scale, unit = _unit(value)
    return f"{value * scale:.6g}{unit}"


def _outward(x: float, *, up: bool, digits: int = 2) -> str:
    """Rounded away from the middle, so that a bound stays a bound."""
    if x <= 0.0:
        return "0"
    places = digits - 1 - math.floor(math.log10(x))
    step = 10.0**-places
    n = math.ceil(x / step - 1e-9) if up else math.floor(x / step + 1e-9)
    return f"{n * step:.{max(0, places)}f}"


def _significant(x: float, digits: int) -> str:
    if x == 0.0:
        return "0"
    places = digits - 1 - math.floor(math.log10(abs(x)))
    return f"{x:.{max(0, places)}f}" if places >= 0 else f"{round(x, places):.0f}"


def micrometres(value: float) -> str:
    """Micrometres to a tenth, with a real minus sign.

    >>> micrometres(-3.04)
    '−3.0'
    """
    text = f"{value:.1f}"
    return (text if float(text) != 0.0 else "0.0").replace("-", "−")


def minus(text: str) -> str:
    """Text whose numbers carry a real minus sign.

    >>> minus("at least -2 µm at -10 °C, 25x37x7-6")
    'at least −2 µm at −10 °C, 25x37x7-6'
    """
    return re.sub(r"(?<!\S)-(?=\d)", "−", text)


def held(text: str) -> str:
    """Text in which no line break parts a number from its unit.

    >>> held("at most 6000 N, 20 °C, 3 per million").count("\\u00a0")
    4
    """
    return re.sub(
        r"(?<=[\d.]) (?=(?:µm|mm|°C|%|N|MPa|arcmin|per million)(?!\w))|(?<=\d per) (?=million)",
        "\u00a0",
        text,
    )


def clean(text: str) -> str:
    """Text from a file without control characters or marks that turn its direction."""
    return "".join(
        c for c in text if unicodedata.category(c) not in ("Cc", "Cf", "Cs", "Co") or c == "\n"
    )
