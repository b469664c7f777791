"""Bores of a file, each fitted with the one model that the places of the file can tell."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tolsim.spec.bore_fit import BoreModel, bore_model
from tolsim.spec.bore_places import PlacedReading
from tolsim.spec.cells import counted, safe
from tolsim.spec.form_noise import Gains, gains_of
from tolsim.spec.sifting import Excluded

__all__ = ["Reduced", "reduce_bores"]


@dataclass(frozen=True, kw_only=True, slots=True)
class Reduced:
    """Mean, taper and ovality [mm] of each bore in ``bores``, shape (n,), and what is left out."""

    model: BoreModel
    bores: tuple[tuple[PlacedReading, ...], ...]
    mean: NDArray[np.float64]
    taper: NDArray[np.float64] | None
    oval: NDArray[np.float64] | None
    residual_sd: float | None
    residual_dof: int
    gains: Gains | None
    excluded: tuple[Excluded, ...]
    bores_excluded: tuple[Excluded, ...]


def reduce_bores(
    readings: Sequence[PlacedReading], band_mm: tuple[float, float] | None = None
) -> Reduced:
    """Fit every bore; a bore whose readings cannot tell the quantities apart is left out."""
    model = bore_model([r.depth for r in readings], [r.angle for r in readings], band_mm)
    groups: dict[tuple[str, str], list[PlacedReading]] = {}
    for r in readings:
        groups.setdefault(r.bore, []).append(r)
    most = max((len(g) for g in groups.values()), default=0)
    bores, fits, excluded, left_out = [], [], [], []
    for group in groups.values():
        value = np.array([float(r.exact) for r in group])
        fit = model.fit([r.depth for r in group], [r.angle for r in group], value)
        if fit is not None:
            bores.append(tuple(group))
            fits.append(fit)
            continue
        reason = f"{len(group)} of {counted(most, 'reading')}: too few to tell mean, taper and oval"
        name = safe(" ".join(group[0].bore).strip())
        left_out.append(Excluded(row=group[0].line, column="", found=name, reason=reason))
        for r in group:
            value_text = f"{float(r.exact):.6g} mm from nominal"
            excluded.append(
                Excluded(row=r.line, column=r.column, found=value_text, reason=f"bore: {reason}")
            )
    table = np.array([f[:3] for f in fits], dtype=np.float64).reshape(-1, 3)
    squares = math.fsum(f[3] for f in fits)
    dof = sum(f[4] for f in fits)
    return Reduced(
        model=model,
        bores=tuple(bores),
        mean=np.ascontiguousarray(table[:, 0]),
        taper=np.ascontiguousarray(table[:, 1]) if model.taper else None,
        oval=np.ascontiguousarray(table[:, 2]) if model.oval != "none" else None,
        residual_sd=math.sqrt(squares / dof) if dof else None,
        residual_dof=dof,
        gains=gains_of(model, bores) if bores else None,
        excluded=tuple(excluded),
        bores_excluded=tuple(left_out),
    )
