"""What the supplies of a study make of a size before a gauge sorts it."""

from __future__ import annotations

from tolsim.joint.latent import Latent
from tolsim.joint.measured import measure
from tolsim.joint.routes import start_process
from tolsim.process.base import Process
from tolsim.process.plain import Normal
from tolsim.spec.load import Study

__all__ = ["made"]


def made(study: Study, path: str) -> tuple[tuple[float, Process], ...]:
    """Each supply's process before a gauge sorts it."""
    role, _, rest = path.partition(".")
    out: list[tuple[float, Process]] = []
    for s in study.strata:
        feature = getattr(s.parts[role], rest)
        readings = s.readings.get(path)
        if readings is None:
            out.append((s.share, start_process(feature)[0]))
            continue
        measured = measure(
            Latent(),
            path,
            s.names[role],
            readings,
            gauge_sd=feature.route[0].gauge_sd,
            correlation=None,
        )
        for mean, sd in zip(measured.means, measured.sds, strict=True):
            out.append((0.5 * s.share, Normal(mean=mean, sd=max(sd, 1e-9))))
    return tuple(out)
