"""Bands of a case at a point as they go on the drawing, and what is to be warned of."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from tolsim.answers.costs import band_cost, cost_model, scrap_share
from tolsim.answers.design_cases import Case, Freedom
from tolsim.answers.design_results import BandResult
from tolsim.answers.design_variant import feature_at
from tolsim.joint.shape_taken import shape_of
from tolsim.spec.load import Study
from tolsim.spec.parts import Bearing, Feature

__all__ = [
    "band_results",
    "bare_capabilities",
    "bare_widths",
    "nominal_of",
    "sorted_as_normal",
    "unpriced_parts",
]

FloatArray = NDArray[np.float64]


def band_results(case: Case, theta: FloatArray) -> tuple[BandResult, ...]:
    """Every band of a case."""
    made = cost_model(case).made
    out = []
    for i, (f, (centre, width)) in enumerate(zip(case.freedoms, case.bands(theta), strict=True)):
        size = f.centre is not None
        value = feature_at(case.study, f.path)
        out.append(
            BandResult(
                path=f.path,
                nominal=nominal_of(case.study, f.path),
                low=centre - 0.5 * width if size else None,
                high=centre + 0.5 * width if size else None,
                width=width,
                unit=f.unit,
                scale=f.scale,
                follows=f.follows,
                capability=f.capability,
                basis=f.basis,
                cost=band_cost(f.cost, width * f.scale, f.word)[0],
                scrap=scrap_share(made[i], centre, width, f.repeatability) if i in made else None,
                state=_state(value) if isinstance(value, Feature) else "",
                word=f.word,
                process=f.process,
            )
        )
    return tuple(out)


def nominal_of(study: Study, path: str) -> float | None:
    """Nominal of a size [mm]; None for a clearance or a scatter."""
    value = feature_at(study, path)
    if not isinstance(value, Feature) or path == "bearing.clearance":
        return None
    if value.nominal is None and path == "bearing.outside":
        bearing = study.strata[0].parts["bearing"]
        assert isinstance(bearing, Bearing)
        return bearing.outside_diameter
    return value.nominal


def _state(feature: Feature) -> str:
    s = feature.state
    if s is None:
        return ""
    return (
        f"{s.size} diameter, {s.age:g} h after making, at {s.temperature:g} °C, "
        f"{'coated' if s.coated else 'uncoated'}"
    )


def bare_capabilities(freedoms: Sequence[Freedom]) -> tuple[str, ...]:
    """A tighter number on a drawing changes no machine: said first where no basis is given."""
    bare = [f.path for f in freedoms if f.follows == "process" and f.basis in (None, "", "assumed")]
    if not bare:
        return ()
    one = len(bare) == 1
    return (
        f"A tighter number on a drawing changes no machine: {', '.join(bare)} "
        f"{'is' if one else 'are'} taken to follow {'its band' if one else 'their bands'} at a "
        "capability that nobody has shown; state capability_basis once readings show it, or let "
        'the band sort (follows = "gauge").',
    )


def bare_widths(freedoms: Sequence[Freedom]) -> tuple[str, ...]:
    """Bands that are free and cost the same however wide: nothing speaks for a wide one."""
    bare = [f.path for f in freedoms if f.held is None and not f.sorts and not _has_price(f)]
    if not bare:
        return ()
    one = len(bare) == 1
    return (
        f"Nothing says what {'the band' if one else 'the bands'} of {', '.join(bare)} "
        f"{'costs' if one else 'cost'}: a wide band is taken to be no cheaper than a narrow one; "
        "state cost under [[choose]], per_width or a table.",
    )


def _has_price(f: Freedom) -> bool:
    return f.cost is not None and (f.cost.per_width > 0.0 or f.cost.at is not None)


def unpriced_parts(cases: Sequence[Case]) -> tuple[str, ...]:
    """Parts without a price, where combinations differ in them: they count as costing nothing."""
    unpriced: list[set[str]] = [
        {s.names[r] for s in c.study.strata for r, p in s.parts.items() if p.price_each is None}
        for c in cases
    ]
    differing = {n for names in unpriced for n in names if any(n not in x for x in unpriced)}
    named = [n for c in cases for s in c.study.strata for n in s.names.values() if n in differing]
    if not named:
        return ()
    return (
        "Combinations are ranked by cost, but nothing says what these parts cost, so that they "
        f"count as costing nothing: {', '.join(dict.fromkeys(named))}; state price_each in them.",
    )


def sorted_as_normal(case: Case) -> tuple[str, ...]:
    """Sizes read from parts of another shape that a band sorts: sorting works on normal ones."""
    out: dict[str, None] = {}
    for f in case.freedoms:
        role, _, rest = f.path.partition(".")
        for stratum in case.study.strata:
            readings = stratum.readings.get(f.path)
            step = None if readings is None else getattr(stratum.parts[role], rest).readings
            if not f.sorts or readings is None or step is None:
                continue
            groups = list(readings.by_seat().values())
            values = groups if readings.seats is not None else [readings.deviation]
            taken = shape_of(
                values, step.shape, gauge_sd=step.gauge_sd, step=readings.resolution_mm
            )
            if taken.name != "normal":
                text = f"{stratum.names[role]}, {f.path}: {taken.reason}; the band sorts it as a "
                out[text + "normal process with the same mean and spread"] = None
    return tuple(out)
