"""The look-up as lines of text: a sentence, then a few aligned lines, from the payload alone."""

from __future__ import annotations

import textwrap
from typing import Any, TypeAlias

__all__ = ["text"]

Lines: TypeAlias = list[tuple[str, str]]

_COLUMNS = 96
_STRONG = ("two_sources", "formula", "one_source_plus_formula")
_SHOWN = 2  # classes of each kind in the text; the payload has more


def text(payload: dict[str, Any]) -> str:
    """Write a payload of schema ``tolsim/limits/1`` as text."""
    writers = {"class": _class, "band": _band, "fit": _fit, "bearing": _bearing}
    sentence, lines = writers[payload["asked"]](payload)
    lines += [("note", w) for w in payload["warnings"]]
    indent = max(len(label) for label, _ in lines) + 4
    rows, before = textwrap.wrap(sentence, _COLUMNS), ""
    for label, value in lines:
        head = f"  {'' if label == before else label}"
        rows += textwrap.wrap(
            value,
            _COLUMNS,
            initial_indent=f"{head:<{indent}}",
            subsequent_indent=" " * indent,
            break_on_hyphens=False,
        )
        before = label
    return "\n".join(rows)


def _class(payload: dict[str, Any]) -> tuple[str, Lines]:
    found = payload["limits"]
    what = f"{_nominal(found)} {found['designation']} is a {found['feature']}"
    lines: Lines = [
        ("deviations", _deviations(found)),
        ("width", f"{_n(found['width_um'])} µm ({found['grade']})"),
        ("holds at", "20 °C (ISO 1)"),
        ("checked", _checked(found)),
        *_notes(found),
    ]
    return f"{what} of {_sizes(found)}.", lines


def _band(payload: dict[str, Any]) -> tuple[str, Lines]:
    band, exact = payload["band"], payload["exact"]
    here = f"{_deviations(band)} at {_nominal(band)}"
    best = payload["overlap"][:1]
    if exact:
        sentence = f"The {band['feature']} band {here} is exactly {exact}."
    elif best:
        share = f"{100.0 * best[0]['common_share']:.0f} %"
        sentence = (
            f"No {band['feature']} class is exactly {here}; {best[0]['designation']} shares most "
            f"with it ({share})."
        )
    else:
        sentence = f"No {band['feature']} class kept here touches {here}."
    lines: Lines = [("sizes", _sizes(band)), ("width", f"{_n(band['width_um'])} µm")]
    kinds = {"inside it": "inside", "around it": "outside", "most shared": "overlap"}
    shown = {
        label: [c for c in payload[key] if c["designation"] != exact][:_SHOWN]
        for label, key in kinds.items()
    }
    wide = max((len(c["designation"]) for of in shown.values() for c in of), default=0)
    most = max((len(_deviations(c)) for of in shown.values() for c in of), default=0)
    for label, found in shown.items():
        lines += [(label, _row(c, wide, most)) for c in found]
        if not found:
            lines.append((label, "no other class" if exact else "no class"))
    lines += _notes(*(c for of in shown.values() for c in of))
    return sentence, lines


def _row(found: dict[str, Any], wide: int, most: int) -> str:
    share = f"{100.0 * found['common_share']:.0f} % in common"
    words = f"{found['designation']:<{wide}}  {_deviations(found):<{most}}  {share}"
    weak = found["confidence"] not in _STRONG
    return f"{words}; {found['checked']}" if weak else words


def _fit(payload: dict[str, Any]) -> tuple[str, Lines]:
    hole, shaft = payload["hole"], payload["shaft"]
    seat, other = (hole, shaft) if payload["seat"] == "hole" else (shaft, hole)
    um, thou = payload["interference_um"], payload.get("interference_thou")
    worst = _fit_range(um["worst"])
    probable = _fit_range(um["probable"], 1)
    partner = other["name"]
    if other["nominal_mm"] != seat["nominal_mm"]:
        partner = f"{_nominal(other)} {partner}"
    kind, _, span = probable.partition(" of ")
    likely = span if span and worst.startswith(kind) else probable
    sentence = f"{_nominal(seat)} {seat['name']} with {partner}: {worst}, probably {likely}."
    spans = [_deviations(hole), _deviations(shaft)]
    most = max(len(s) for s in spans)
    middle = _fit_range({"low": um["middle"], "high": um["middle"]}, 1)
    lines: Lines = [
        ("hole", f"{spans[0]:<{most}}  {_sizes(hole)}  {hole['name']}"),
        ("shaft", f"{spans[1]:<{most}}  {_sizes(shaft)}  {shaft['name']}"),
        ("worst case", worst + (f" ({_fit_range(thou['worst'], 2, 'thou')})" if thou else "")),
        ("middle", middle),
        ("probable", probable + (f" ({_fit_range(thou['probable'], 2, 'thou')})" if thou else "")),
        ("probable", payload["probable_means"]),
        ("holds for", payload["holds_for"]),
        *(("checked", f"{s['name']}: {_checked(s)}") for s in (hole, shaft) if "checked" in s),
        *_notes(hole, shaft),
    ]
    return sentence, lines


def _bearing(payload: dict[str, Any]) -> tuple[str, Lines]:
    size, outer, inner = payload["size_mm"], payload["outer_ring"], payload["inner_ring"]
    free, width = payload["clearance"], payload["ring_width_um"]
    raceway, listed = payload["raceway_estimate_mm"], payload["listed"]
    sentence = (
        f"{size['d']:g}x{size['D']:g}x{size['B']:g}, class {payload['class'].lower()}: outside "
        f"diameter {_sizes(outer)}, bore {_sizes(inner)}, radial clearance {_n(free['low_um'])} to "
        f"{_n(free['high_um'])} µm (group {free['group']})."
    )
    lines: Lines = [
        *(("outside", line) for line in _ring(outer)),
        *(("bore", line) for line in _ring(inner)),
        ("width", f"{_s(width['low'])} to {_s(width['high'])} µm, either ring"),
        ("clearance", free["state"]),
        (
            "raceways",
            f"{raceway['inner']:g} mm inner, {raceway['outer']:g} mm outer, {raceway['checked']}",
        ),
    ]
    if listed:
        names = dict.fromkeys([listed["designation"], listed["alternative"]])
        dynamic = " or ".join(f"{v / 1e3:g}" for v in listed["dynamic_rating_N"])
        static = " or ".join(f"{v / 1e3:g}" for v in listed["static_rating_N"])
        lines += [
            ("listed as", f"{' or '.join(names)} ({_checked(listed)})"),
            ("ratings", f"dynamic {dynamic} kN, static {static} kN: {listed['ratings']}"),
        ]
    else:
        lines.append(("listed as", "not among the sizes kept here: no ratings, no series"))
    lines += [
        ("holds for", payload["holds_for"]),
        *(
            ("checked", f"{name}: {_checked(found)}")
            for name, found in (("outer ring", outer), ("inner ring", inner), ("clearance", free))
        ),
        *(("note", f"clearance: {n}") for n in free["notes"]),
    ]
    return sentence, lines


def _ring(ring: dict[str, Any]) -> list[str]:
    lines = [f"{_deviations(ring)}, run-out {_n(ring['run_out_um'])} µm"]
    if ring["single_lower_um"] is not None:
        lines[0] += f", no single diameter under {_s(ring['single_lower_um'])} µm"
    if ring["variation_um"] is not None:
        words = f"diameters within one plane differ by {_n(ring['variation_um'])} µm at most"
        if "variation_capped_um" in ring:
            capped = ring["variation_capped_um"]
            limit = "no limit set" if capped is None else f"{_n(capped)} µm"
            words += f" (open; sealed or shielded: {limit})"
        lines.append(words)
    return lines


def _checked(found: dict[str, Any]) -> str:
    """The standard and how well the value is confirmed; the source too where that is weak."""
    words = f"{found['standard']}, {found['checked']}"
    return words if found["confidence"] in _STRONG else f"{words} ({found['source']})"


def _notes(*found: dict[str, Any]) -> Lines:
    notes = [
        ("note", f"{one.get('designation', one.get('name', ''))}: {note}")
        for one in found
        for note in one.get("notes", [])
    ]
    return list(dict.fromkeys(notes))


def _fit_range(span: dict[str, float], digits: int = 3, unit: str = "µm") -> str:
    low, high = round(span["low"], digits) + 0.0, round(span["high"], digits) + 0.0
    if low >= 0.0:
        kind, small, large = "interference", low, high
    elif high <= 0.0:
        kind, small, large = "clearance", -high + 0.0, -low
    else:
        return f"{-low:g} {unit} clearance to {high:g} {unit} interference"
    return (
        f"{kind} of {small:g} {unit}"
        if small == large
        else f"{kind} of {small:g} to {large:g} {unit}"
    )


def _deviations(found: dict[str, Any]) -> str:
    words = f"{_s(found['lower_um'])} to {_s(found['upper_um'])} µm"
    if "lower_thou" in found:
        words += f" ({_s(found['lower_thou'], 2)} to {_s(found['upper_thou'], 2)} thou)"
    return words


def _sizes(found: dict[str, Any]) -> str:
    words = f"{_size(found['low_mm'])} to {_size(found['high_mm'])} mm"
    if "low_in" in found:
        words += f" ({found['low_in']:.5f} to {found['high_in']:.5f} in)"
    return words


def _nominal(found: dict[str, Any]) -> str:
    if "nominal_in" in found:
        return f"{found['nominal_in']:g} in ({found['nominal_mm']:.4f} mm)"
    return f"{found['nominal_mm']:g} mm"


def _size(mm: float) -> str:
    """At least three decimals, more where the value has them.

    >>> _size(36.958), _size(36.9875)
    ('36.958', '36.9875')
    """
    whole, _, decimals = f"{mm:.6f}".partition(".")
    return f"{whole}.{decimals.rstrip('0'):<03}"


def _n(value: float) -> str:
    return f"{round(value, 3):g}"


def _s(value: float, digits: int = 3) -> str:
    """A deviation with its sign; zero has none.

    >>> _s(9.0), _s(0.0), _s(-17.5)
    ('+9', '0', '-17.5')
    """
    return f"{round(value, digits):+g}" if round(value, digits) else "0"
