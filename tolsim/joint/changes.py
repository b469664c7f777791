"""Changes of size that parts at two ages showed."""

from __future__ import annotations

from collections.abc import Sequence

from tolsim.joint.latent import Latent, Rows, Source
from tolsim.joint.measured import Measured, Parameters, seats_of
from tolsim.process.evidence import NormalEvidence
from tolsim.spec.route_steps import Settled

__all__ = ["change_as_read", "with_change"]


def change_as_read(latent: Latent, name: str, part_name: str, seen: Settled) -> Measured:
    """Whole change of both seats, from parts at two ages: rows of evidence for mean and spread."""
    evidence = NormalEvidence(n=seen.n, mean=seen.mean, sd=seen.sd, gauge_sd=seen.gauge_sd)
    base = f"evidence {part_name} {name}"
    mean, sd = latent.row(f"{base} mean", evidence=True), latent.row(f"{base} sd", evidence=True)

    def parameters(z: Rows) -> Parameters:
        m, s = evidence.parameters(mean(z), sd(z))
        return (m, m), (s, s), 0.0

    return Measured(
        part_name=part_name,
        key=name,
        n=(seen.n, seen.n),
        means=(seen.mean, seen.mean),
        sds=(evidence.process_sd, evidence.process_sd),
        correlation=0.0,
        parameters=parameters,
        seats=seats_of(parameters, (latent.row(f"{name}@1"), latent.row(f"{name}@2"))),
        notes=evidence.notes,
    )


def with_change(seats: Sequence[Source], change: Measured, share: float) -> list[Source]:
    """Sizes of both seats after a share of the whole change."""

    def plus(size: Source, whole: Source) -> Source:
        return lambda z: size(z) + whole(z) * share

    return [plus(s, c) for s, c in zip(seats, change.seats, strict=True)]
