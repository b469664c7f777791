"""An assumed feature whose mean and spread are known within ranges only.

It takes the form of a measured one: its parameters are drawn from rows of evidence of their own,
uniformly over the ranges, so the whole of them shows in the answer, and readings can replace it.
"""

from __future__ import annotations

from tolsim.joint.latent import Latent, Rows, Source
from tolsim.joint.measured import Measured, Parameters, seats_of
from tolsim.joint.routes import process_of
from tolsim.record import Array
from tolsim.spec.quantities import Distribution
from tolsim.spec.route_steps import Machine

__all__ = ["ranged"]


def ranged(
    latent: Latent,
    key: str,
    part_name: str,
    step: Machine,
    *,
    correlation: float,
    tied: bool = False,
) -> Measured:
    """The feature with rows of evidence for its mean and spread [mm].

    Both seats have the same process; `correlation` is that of their sizes. Where the feature is
    `tied` to another one the tie is left out, and said so.
    """
    rows = (latent.row(f"{key}@1"), latent.row(f"{key}@2"))
    base = f"evidence {part_name} {key}"
    mean = _within(latent, f"{base} mean", step.mean or 0.0, step.mean_range)
    spread = _within(latent, f"{base} sd", step.sd or 0.0, step.sd_range)

    def parameters(z: Rows) -> Parameters:
        m, s = mean(z), spread(z)
        return (m, m), (s, s), correlation

    told = [
        f"{what} {1e3 * ends[0]:g} to {1e3 * ends[1]:g} µm".replace("-", "−")
        for what, ends in (("mean", step.mean_range), ("spread", step.sd_range))
        if ends is not None
    ]
    notes = [f"{key} is assumed, not measured: {' and '.join(told)}, every value as good"]
    if tied:
        notes.append(f"{key}: its tie to the other diameter is left out where ranges are given")
    return Measured(
        part_name=part_name,
        key=key,
        n=(0, 0),
        means=(step.mean or 0.0, step.mean or 0.0),
        sds=(step.sd or 0.0, step.sd or 0.0),
        correlation=correlation,
        parameters=parameters,
        seats=seats_of(parameters, rows),
        notes=tuple(notes),
    )


def _within(latent: Latent, name: str, value: float, ends: tuple[float, float] | None) -> Source:
    if ends is None:
        return lambda z: value
    process = process_of(Distribution(shape="uniform", low=ends[0], high=ends[1]))
    row = latent.row(name, evidence=True)

    def drawn(z: Rows) -> Array:
        return process.size(row(z))

    return drawn
