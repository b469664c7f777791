"""The look-up as one payload, ``tolsim/limits/1``.

Deviations are in micrometres, sizes in mm (and in inches where the question was asked in inches).
Every value carries how well it is confirmed and where it was seen.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from tolsim import __version__
from tolsim.answers.limits import BearingAnswer, Fit, Side
from tolsim.standards.bearings import Ring
from tolsim.standards.sizes import Limits, Nearest
from tolsim.standards.tables import said, weakest
from tolsim.units import convert

__all__ = ["SCHEMA", "bearing_payload", "band_payload", "class_payload", "fit_payload"]

SCHEMA = "tolsim/limits/1"
_SIZES, _RINGS, _FREE = "ISO 286-1:2010", "ISO 492:2014", "ISO 5753-1:2009"
_AT = "mean diameters at 20 °C (ISO 1)"


def class_payload(found: Limits, *, unit: str = "mm") -> dict[str, Any]:
    """The limits of one class."""
    return _head("class", unit) | {"limits": _limits(found, unit)}


def band_payload(found: Nearest, *, unit: str = "mm") -> dict[str, Any]:
    """The classes nearest to a band."""

    def rows(of: Sequence[Limits]) -> list[dict[str, Any]]:
        return [_limits(c, unit) | {"common_share": round(found.share(c), 6)} for c in of]

    band = _span(found.nominal, found.lower, found.upper, unit) | {"feature": found.feature}
    return _head("band", unit) | {
        "band": band,
        "exact": found.exact.designation if found.exact else None,
        "inside": rows(found.inside),
        "outside": rows(found.outside),
        "overlap": rows(found.overlap),
    }


def fit_payload(found: Fit, *, unit: str = "mm") -> dict[str, Any]:
    """A fit: both sides, interference at worst and probably, in micrometres, positive tight."""
    words = [s.confidence for s in (found.hole, found.shaft) if s.confidence]
    worst, probable = (_range(r, "um") for r in (found.worst, found.probable))
    payload = _head("fit", unit, words) | {
        "seat": found.seat,
        "hole": _side(found.hole, unit),
        "shaft": _side(found.shaft, unit),
        "nominal_step_um": _um(found.nominal_step),
        "interference_um": {"middle": _um(found.mid), "worst": worst, "probable": probable},
        "probable_means": "root sum of squares, ±3 standard deviations: both parts normal, "
        "centred, six standard deviations to the tolerance",
        "holds_for": f"{_AT}, before roughness settles",
    }
    if unit == "in":
        payload["interference_thou"] = {
            "worst": _range(found.worst, "thou"),
            "probable": _range(found.probable, "thou"),
        }
    if found.nominal_step:
        payload["warnings"].append(
            f"the nominal sizes differ: shaft minus hole {_um(found.nominal_step):+g} µm is "
            "part of the fit"
        )
    return payload


def bearing_payload(found: BearingAnswer) -> dict[str, Any]:
    """Ring limits, width and clearance of a bearing, with the listed bearing of that size."""
    words = [found.outer.confidence, found.inner.confidence, found.clearance.confidence]
    series = found.listed.diameter_series if found.listed else None
    listed = None
    if found.listed:
        b = found.listed
        listed = {
            "designation": b.designation,
            "alternative": b.alternative,
            "diameter_series": series,
            "dynamic_rating_N": list(b.dynamic_rating),
            "static_rating_N": list(b.static_rating),
            "ratings": "two makers' own, after ISO 281 and ISO 76; they differ",
            "inner_shoulder_mm": b.inner_shoulder,
            "outer_shoulder_mm": b.outer_shoulder,
            "mass_kg": b.mass_kg,
            **_proof("ISO 15:2017", b.confidence, b.source, ()),
        }
    payload = _head("bearing", "mm", words) | {
        "size_mm": {"d": found.d, "D": found.D, "B": found.B},
        "class": found.outer.tolerance_class,
        "outer_ring": _ring(found.outer, series),
        "inner_ring": _ring(found.inner, series),
        "ring_width_um": {"low": _um(found.width[0]), "high": _um(found.width[1])},
        "clearance": {
            "group": found.clearance.group,
            "low_um": _um(found.clearance.lower),
            "high_um": _um(found.clearance.upper),
            "state": "radial, free bearing: neither fitted nor loaded",
            **_proof(
                _FREE, found.clearance.confidence, found.clearance.source, found.clearance.notes
            ),
        },
        "raceway_estimate_mm": {
            "inner": round(found.raceways[0], 6),
            "outer": round(found.raceways[1], 6),
            "checked": "estimated from d and D, the inner one by a rule from memory",
        },
        "listed": listed,
        "holds_for": _AT,
    }
    if series in ("7", "8"):
        payload["warnings"].append(
            f"ISO 492 does not cover diameter series {series}; makers apply the column of series 9"
        )
    return payload


def _head(asked: str, unit: str, confidence: Sequence[str] = ()) -> dict[str, Any]:
    head: dict[str, Any] = {"schema": SCHEMA, "asked": asked, "unit": unit}
    if confidence:
        head["confidence"] = weakest(confidence)
        head["checked"] = said(head["confidence"])
    return head | {"warnings": [], "provenance": {"version": __version__}}


def _um(length: float) -> float:
    return round(length * 1e3, 6) + 0.0


def _range(span: tuple[float, float], unit: str) -> dict[str, float]:
    low, high = (round(convert(v, "mm", unit), 6) + 0.0 for v in span)
    return {"low": low, "high": high}


def _inch(length: float) -> float:
    return round(convert(length, "mm", "in"), 8)


def _span(nominal: float, lower: float, upper: float, unit: str) -> dict[str, Any]:
    found = {
        "nominal_mm": round(nominal, 9),
        "lower_um": _um(lower),
        "upper_um": _um(upper),
        "width_um": _um(upper - lower),
        "low_mm": round(nominal + lower, 9),
        "high_mm": round(nominal + upper, 9),
    }
    if unit == "in":
        found |= {
            "nominal_in": _inch(nominal),
            "low_in": _inch(nominal + lower),
            "high_in": _inch(nominal + upper),
            "lower_thou": round(convert(lower, "mm", "thou"), 6) + 0.0,
            "upper_thou": round(convert(upper, "mm", "thou"), 6) + 0.0,
        }
    return found


def _limits(found: Limits, unit: str) -> dict[str, Any]:
    return (
        {"designation": found.designation, "feature": found.feature, "grade": found.grade}
        | _span(found.nominal, found.lower, found.upper, unit)
        | _proof(_SIZES, found.confidence, found.source, found.notes)
    )


def _side(side: Side, unit: str) -> dict[str, Any]:
    found = {"name": side.name, "feature": side.feature}
    found |= _span(side.nominal, side.lower, side.upper, unit)
    if side.standard and side.confidence and side.source:
        found |= _proof(side.standard, side.confidence, side.source, side.notes)
    return found


def _proof(standard: str, confidence: str, source: str, notes: Sequence[str]) -> dict[str, Any]:
    return {
        "standard": standard,
        "confidence": confidence,
        "checked": said(confidence),
        "source": source,
        "notes": list(notes),
    }


def _ring(ring: Ring, series: str | None) -> dict[str, Any]:
    def um(length: float | None) -> float | None:
        return None if length is None else _um(length)

    found = _span(ring.nominal, ring.lower, ring.upper, "mm") | {
        "single_lower_um": um(ring.single_lower),
        "variation_by_series_um": {s: um(v) for s, v in ring.variation.items()},
        "variation_um": um(ring.plane_variation(series)) if series else None,
        "mean_variation_um": um(ring.mean_variation),
        "run_out_um": um(ring.run_out),
        "axial_run_out_um": um(ring.axial_run_out),
        "squareness_um": um(ring.squareness),
        "width_variation_um": um(ring.width_variation),
    }
    if ring.ring == "outer" and series:
        found["variation_capped_um"] = um(ring.plane_variation(series, capped=True))
    return found | _proof(_RINGS, ring.confidence, ring.source, ring.notes)
