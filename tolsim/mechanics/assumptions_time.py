"""Remembered constants of time and moisture: settling, relaxation, swelling."""

from __future__ import annotations

from tolsim.mechanics.assumed import Assumed

__all__ = ["TIME"]

TIME: tuple[Assumed, ...] = (
    Assumed(
        name="kohlrausch-exponent",
        value=0.6,
        low=0.3,
        high=0.7,
        unit="1",
        least=0.05,
        most=1.0,
        basis="stretched exponential of settling; from memory",
    ),
    Assumed(
        name="kohlrausch-time",
        value=36.0,
        low=12.0,
        high=96.0,
        unit="h",
        least=0.001,
        basis="practice gauges plastics at 16 to 72 h and again after 3 to 4 days; no source",
    ),
    Assumed(
        name="relaxation-polymer",
        value=0.06,
        low=0.04,
        high=0.10,
        unit="1",
        most=0.5,
        basis="E ~ t^-n of POM, PA66-GF and unfilled PA; from memory (0.0264 for PC follows "
        "from a maker's creep figures)",
    ),
    Assumed(
        name="relaxation-epoxy",
        value=0.035,
        low=0.02,
        high=0.05,
        unit="1",
        most=0.5,
        basis="E ~ t^-n of an epoxy bond; from memory",
    ),
    Assumed(
        name="relaxation-cfrp-hoop",
        value=0.005,
        low=0.002,
        high=0.010,
        unit="1",
        most=0.5,
        basis="E ~ t^-n along fibres; from memory",
    ),
    Assumed(
        name="relaxation-cfrp-radial",
        value=0.03,
        low=0.02,
        high=0.04,
        unit="1",
        most=0.5,
        basis="E ~ t^-n across fibres; from memory",
    ),
    Assumed(
        name="settling-aluminium",
        value=0.00006,
        low=0.0,
        high=0.000125,
        unit="1",
        basis="share of the diameter after unclamping, 0 to 5 µm on 40 mm; from memory, weak",
    ),
    Assumed(
        name="settling-cfrp",
        value=0.00015,
        low=0.00005,
        high=0.0003,
        unit="1",
        basis="share of the diameter in the first days after cure or boring; from memory, weak",
    ),
    Assumed(
        name="settling-pom",
        value=0.002,
        low=0.001,
        high=0.003,
        unit="1",
        basis="shrinkage after moulding, share of the diameter; from memory (0.00125 in the "
        "first two days of one acetal part is published)",
    ),
    Assumed(
        name="swelling-pa66-gf-hoop",
        value=0.0025,
        low=0.002,
        high=0.003,
        unit="1",
        basis="growth along the fibres from dry to 50 % relative humidity; from memory",
    ),
    Assumed(
        name="swelling-pa66-gf-radial",
        value=0.0065,
        low=0.005,
        high=0.008,
        unit="1",
        basis="growth across the fibres from dry to 50 % relative humidity; from memory",
    ),
    Assumed(
        name="moisture-pa66-gf",
        value=0.017,
        low=0.014,
        high=0.020,
        unit="1",
        least=0.0001,
        most=1.0,
        basis="moisture PA66-GF30 takes up from dry to 50 % relative humidity, by mass; from "
        "memory",
    ),
    Assumed(
        name="swelling-cfrp-hoop",
        value=0.040,
        low=0.02,
        high=0.06,
        unit="1",
        basis="strain per moisture taken up, quasi-isotropic, computed from a published ply; "
        "the range is a guess",
    ),
    Assumed(
        name="swelling-cfrp-radial",
        value=0.4,
        low=0.2,
        high=0.6,
        unit="1",
        basis="strain through the thickness per moisture taken up; from memory",
    ),
)
