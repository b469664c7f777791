"""Keys that carry their unit: every suffix gives the same record, one unit a quantity."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from pydantic import BaseModel, ValidationError

from tolsim.joint.sizes import process_of
from tolsim.spec.parts import Adhesive, Bearing, Bore, Sleeve
from tolsim.spec.quantities import SHAPE_KEYS, Distribution, Table, usual_key
from tolsim.spec.study import StudySpec
from tolsim.units import SUFFIXES, split_suffix, suffixes_of

# From a unit to mm, N, MPa, rad: the inch is 25.4 mm exactly (1959 agreement), a turn 21600'.
EXACT = {
    "mm": 1.0,
    "um": 1e-3,
    "in": 25.4,
    "thou": 0.0254,
    "N": 1.0,
    "Nm": 1e3,
    "MPa": 1.0,
    "GPa": 1e3,
    "deg": 2.0 * math.pi / 360.0,
    "mrad": 1e-3,
    "arcmin": 2.0 * math.pi / 21600.0,
    "C": 1.0,
    "K": 1.0,
    "h": 1.0,
    "per_K": 1.0,
    "um_per_m_K": 1e-6,
}


def test_factors() -> None:
    """Every suffix has the factor of its definition."""
    assert set(SUFFIXES) == set(EXACT)
    for suffix, unit in SUFFIXES.items():
        assert unit.factor == pytest.approx(EXACT[suffix], rel=1e-15), suffix


BORE: dict[str, Any] = {
    "part": "bore",
    "title": "t",
    "basis": "assumed",
    "material": "steel-4130",
    "outside_diameter_mm": 46.0,
    "seat_width_mm": 7.0,
    "edge_distance_mm": 2.0,
    "span_mm": 82.0,
    "roughness_rz_um": 3.0,
    "diameter": {
        "nominal_mm": 37.0,
        "band_um": [-30.0, -10.0],
        "route": [
            {"step": "machine", "mean_um": -20.0, "sd_um": 2.0},
            {"step": "settle", "mean_um": -5.0, "sd_um": 1.5, "common_sd_um": 0.5, "time_h": 36.0},
        ],
    },
    "alignment": {"offset_um": {"mean": 1.0, "sd": 15.0}, "tilt_deg": {"sd": 0.03}},
    "roundness": {"lobes": 2, "amplitude_um": {"shape": "folded-normal", "sd": 3.0}},
}

STUDY: dict[str, Any] = {
    "title": "t",
    "joint": {"kind": "pressed", "bore": "b", "bearing": "r", "age_at_assembly_h": 90.0},
    "service": {
        "temperature_C": [20.0],
        "pedal_force_N": {"shape": "lognormal", "mean": 350.0, "sd": 40.0},
        "overhang_mm": 60.0,
    },
    "limits": {
        "loose": {"interference_um": 1.0},
        "tight": {"clearance_um": -2.0, "press_force_N": 6000.0},
        "misaligned": {"angle_deg": 0.1, "offset_um": 100.0, "bearing_tilt_arcmin": 6.0},
    },
}


def _numbers(value: Any, factor: float) -> Any:
    """The same quantity in another unit: shapes, names, exponents and the like stay."""
    if isinstance(value, bool | str):
        return value
    if isinstance(value, int | float):
        return value * factor
    if isinstance(value, list):
        return [_numbers(v, factor) for v in value]
    kept = ("shape", "exponent", "skewness")
    return {k: v if k in kept else _numbers(v, factor) for k, v in value.items()}


def _rewritten(table: Any, to: dict[str, str]) -> Any:
    """Every key in the unit that `to` names for its dimension."""
    if isinstance(table, list):
        return [_rewritten(v, to) for v in table]
    if not isinstance(table, dict):
        return table
    out = {}
    for key, value in table.items():
        stem, unit = split_suffix(key)
        if unit is None or unit.dimension not in to:
            out[key] = _rewritten(value, to)
        else:
            new = to[unit.dimension]
            out[f"{stem}_{new}"] = _numbers(value, EXACT[unit.suffix] / EXACT[new])
    return out


def _leaves(value: Any, path: str = "") -> dict[str, Any]:
    if isinstance(value, BaseModel):
        value = {k: getattr(value, k) for k in type(value).model_fields}
    if isinstance(value, dict):
        return {k: v for n, x in value.items() for k, v in _leaves(x, f"{path}.{n}").items()}
    if isinstance(value, tuple | list):
        return {k: v for i, x in enumerate(value) for k, v in _leaves(x, f"{path}[{i}]").items()}
    return {path: value}


@pytest.mark.parametrize("length", suffixes_of("length"))
@pytest.mark.parametrize("angle", suffixes_of("angle"))
@pytest.mark.parametrize(("model", "raw"), [(Bore, BORE), (StudySpec, STUDY)])
def test_every_unit_gives_the_same_record(
    model: type[Table], raw: dict[str, Any], length: str, angle: str
) -> None:
    """Lengths, bands and distributions in any unit give one record, to the last bits."""
    usual = _leaves(model.model_validate(raw))
    other = _leaves(model.model_validate(_rewritten(raw, {"length": length, "angle": angle})))
    assert usual.keys() == other.keys()
    for path, value in usual.items():
        if isinstance(value, float):
            assert other[path] == pytest.approx(value, rel=4e-16 * 4), path
        else:
            assert other[path] == value, path


def test_inner_units() -> None:
    """A record holds mm, N and radians."""
    bore = Bore.model_validate(BORE)
    assert bore.diameter.band == pytest.approx((-0.030, -0.010), rel=1e-15)
    assert bore.alignment is not None
    assert bore.alignment.tilt is not None
    assert bore.alignment.offset is not None
    assert bore.alignment.tilt.sd == pytest.approx(0.03 * math.pi / 180.0, rel=1e-15)
    assert bore.alignment.offset.mean == pytest.approx(1e-3)
    study = StudySpec.model_validate(STUDY)
    assert study.limits.misaligned is not None
    # a tenth of a degree is six minutes of arc
    assert study.limits.misaligned.angle == pytest.approx(study.limits.misaligned.bearing_tilt)


def test_wrong_dimension() -> None:
    """A length with the unit of an angle is no key of the table."""
    raw = {k: v for k, v in BORE.items() if k != "span_mm"}
    with pytest.raises(ValidationError) as caught:
        Bore.model_validate({**raw, "span_deg": 82.0})
    assert {e["type"] for e in caught.value.errors()} == {"missing", "extra_forbidden"}


def test_usual_keys_are_unambiguous() -> None:
    """No table has two keys that differ in the unit alone."""
    seen: set[type[BaseModel]] = set()
    waiting: list[Any] = [StudySpec, Bore, Bearing, Sleeve, Adhesive]
    while waiting:
        model = waiting.pop()
        if isinstance(model, type) and issubclass(model, Table):
            if model in seen:
                continue
            seen.add(model)
            stems = [
                (stem, unit.dimension)
                for stem, unit in map(split_suffix, model.usual_keys())
                if unit is not None
            ]
            assert len(stems) == len(set(stems)), model
            waiting += [f.annotation for f in model.model_fields.values()]
        else:
            waiting += getattr(model, "__args__", ())
    assert len(seen) > 15


@given(st.text(max_size=12))
def test_usual_key_of_anything(text: str) -> None:
    """A key that is not known in any unit stays what it is."""
    assert usual_key(text, ("span_mm", "title")) in (text, "span_mm")


def test_plain_numbers_are_fixed() -> None:
    """A number in place of a distribution is a quantity without spread."""
    fixed = Distribution.model_validate(350)
    assert (fixed.shape, fixed.value) == ("fixed", 350)
    for wrong in (True, "350", [350]):
        with pytest.raises(ValidationError):
            Distribution.model_validate(wrong)


@pytest.mark.parametrize(
    ("given_", "negative"),
    [
        ({"sd": 1.0}, True),
        ({"mean": 100.0, "sd": 1.0}, True),
        ({"shape": "lognormal", "mean": 350.0, "sd": 40.0}, False),
        ({"shape": "lognormal", "mean": 350.0, "sd": 40.0, "low": -1.0}, True),
        ({"shape": "weibull", "scale": 1.0, "exponent": 2.0}, False),
        ({"shape": "folded-normal", "sd": 1.0}, False),
        ({"shape": "uniform", "low": 0.0, "high": 1.0}, False),
        ({"shape": "uniform", "low": -0.1, "high": 1.0}, True),
        ({"shape": "bounded", "mean": 1.0, "sd": 1.0, "low": 0.0, "high": 2.0}, False),
        ({"shape": "fixed", "value": -1.0}, True),
    ],
)
def test_quantities_that_cannot_be_negative(given_: dict[str, Any], negative: bool) -> None:
    """A load takes only shapes that cannot fall below zero."""
    assert Distribution.model_validate(given_).may_be_negative == negative
    raw = {"title": "t", "joint": STUDY["joint"], "limits": STUDY["limits"]}
    service = {"service": {"seat_load_N": given_}}
    if negative:
        with pytest.raises(ValidationError, match="cannot be negative"):
            StudySpec.model_validate({**raw, **service})
    else:
        assert StudySpec.model_validate({**raw, **service}).service.seat_load is not None


_VALUES = st.sampled_from(
    [-400.0, -30.0, -5.0, -1.0, 0.0, 1e-3, 0.3, 0.5, 1.0, 2.0, 5.0, 30.0, 4e2]
)


@settings(deadline=None, max_examples=200)
@given(st.data())
def test_a_shape_that_is_accepted_can_be_drawn(data: st.DataObject) -> None:
    """Whatever the file check lets pass is a population with finite, ordered sizes."""
    shape = data.draw(st.sampled_from(sorted(SHAPE_KEYS)))
    needed, optional = SHAPE_KEYS[shape]
    keys = [*needed, *(k for k in optional if data.draw(st.booleans()))]
    try:
        found = Distribution.model_validate(
            {"shape": shape, **{k: data.draw(_VALUES) for k in keys}}
        )
    except ValidationError:
        return
    sizes = process_of(found).size(np.linspace(-6.0, 6.0, 13))
    assert np.isfinite(sizes).all()
    assert (np.diff(sizes) >= 0.0).all()
    if not found.may_be_negative:
        assert sizes.min() >= 0.0
