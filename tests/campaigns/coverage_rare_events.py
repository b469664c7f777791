"""Coverage on published problems, on made ones that break an assumption, on planted pockets."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from scipy.special import ndtr, ndtri

from tests.campaigns.coverage import COLUMNS, Coverage, measure, verdict
from tests.campaigns.table import Table
from tests.chance.problems import ProblemCase, ball, hidden, published, ring, shapes
from tolsim.chance.event import event_of
from tolsim.record import Array, record

__all__ = ["pockets", "planted", "published_problems", "shaped_problems"]

_PLAIN = 2**20
_COUNTED = 5e-4  # shares above this are counted by a plain run; a short one leaves them rare


def _plain_draws(exact: float) -> int:
    """A plain run too short to decide, so that the rare-event method is what is measured."""
    return _PLAIN if exact < _COUNTED / 2 else 2**12


def _run(cases: Sequence[ProblemCase], repeats: int, seed: int) -> list[Coverage]:
    out = []
    for i, c in enumerate(cases):
        out.append(
            measure(
                c.name,
                c.event,
                c.exact,
                repeats=repeats,
                seed=seed + 100_000 * i,
                plain_draws=_plain_draws(c.exact),
            )
        )
        print("  " + " | ".join(out[-1].row()), flush=True)
    return out


def _table(title: str, what: str, results: Sequence[Coverage]) -> Table:
    return Table(
        title=title,
        measured=what,
        columns=COLUMNS,
        rows=[r.row() for r in results],
        verdict=verdict(results),
    )


def published_problems(*, reduced: bool) -> Table:
    """All published problems below 1 %, margins and slopes visible."""
    cases = [c for c in published() if c.exact < 0.009]
    results = _run(cases, 20 if reduced else 200, seed=10_000_000)
    return _table(
        "Coverage on published failure problems",
        "The public estimator at a relative half-width of 10 % asked; the plain count of each "
        "repeat is drawn from its exact distribution.",
        results,
    )


def shaped_problems(*, reduced: bool) -> Table:
    """Problems that break one assumption each; some again without margins or without slopes."""
    cases = shapes()
    for c in (ring(2, 40, 1e-6), *(c for c in published() if c.name == "RP110_steps")):
        blind = hidden(c.event, gradient=False)
        cases.append(ProblemCase(name=f"{c.name}, no slopes", event=blind, exact=c.exact))
    results = _run(cases, 10 if reduced else 200, seed=20_000_000)
    return _table(
        "Coverage on rings, pockets, decoys, cliffs and margins of different units",
        "As for the published problems. Rings: failure beyond a radius in a turned plane of k of "
        "40 dimensions, at 1e-6.",
        results,
    )


def planted(rng: np.random.Generator) -> ProblemCase:
    """A plane and, elsewhere, a smooth pocket that holds a tenth to nine tenths of all failures.

    The pocket is a ball in two to five of the turned directions, the plane's normal is another;
    only the smaller of the two distances is seen, the pocket's at a scale of its own.
    """
    d = int(rng.integers(3, 25))
    inside = int(rng.integers(2, min(d - 1, 5) + 1))
    turn = np.linalg.qr(rng.normal(size=(d, d)))[0][: inside + 1]
    distance, radius = float(rng.uniform(4.0, 6.0)), float(rng.uniform(0.8, 2.0))
    scale, share = float(rng.uniform(0.3, 3.0)), float(rng.uniform(0.1, 0.9))
    pocket_p = ball(distance, radius, inside)
    beta = -float(ndtri(pocket_p * (1.0 - share) / share))

    def g(z: Sequence[Array]) -> list[Array]:
        rows = [sum(float(a) * x for a, x in zip(row, z, strict=True)) for row in turn]
        off = [r - (distance if k == 0 else 0.0) for k, r in enumerate(rows[1:])]
        pocket = np.sqrt(sum(np.square(o) for o in off) + 1e-12) - radius
        return [np.minimum(beta - rows[0], scale * pocket)]

    plane_p = float(ndtr(-beta))
    return ProblemCase(
        name=f"pocket of {inside} in {d}",
        event=hidden(event_of(record(g, d))),
        exact=plane_p + pocket_p - plane_p * pocket_p,
    )


def pockets(*, reduced: bool) -> Table:
    """Planted pockets, each a problem of its own."""
    rng = np.random.default_rng(31_000_000)
    groups: dict[str, list[Coverage]] = {}
    for i in range(60 if reduced else 600):
        c = planted(rng)
        low = 3 + 6 * ((c.event.dimension - 3) // 6)
        groups.setdefault(f"{low} to {low + 5} dimensions", []).append(
            measure(
                c.name,
                c.event,
                c.exact,
                repeats=1,
                seed=31_000_000 + i,
                plain_draws=_plain_draws(c.exact),
            )
        )
    rows, everything = [], []
    for name, found in sorted(groups.items(), key=lambda item: int(item[0].split()[0])):
        everything += found
        trusted = sum(r.trusted for r in found)
        rows.append(
            (
                name,
                f"{len(found)}",
                f"{min(r.exact for r in found):.1e} to {max(r.exact for r in found):.1e}",
                f"{sum(r.covered for r in found) / max(trusted, 1):.3f}",
                f"{sum(r.silent for r in found)}",
                f"{len(found) - trusted}",
                f"{np.mean([r.evaluations for r in found]):.3g}",
                f"{max(r.evaluations for r in found):.3g}",
            )
        )
        print("  " + " | ".join(rows[-1]), flush=True)
    return Table(
        title="Planted smooth pockets",
        measured="Every problem is different: a plane and a ball elsewhere, seen through one "
        "margin, slopes visible. Missing the ball would be off by a tenth to a factor of ten.",
        columns=(
            "size",
            "problems",
            "exact shares",
            "coverage of 95 %",
            "missed silently",
            "not trusted",
            "evaluations, mean",
            "evaluations, most",
        ),
        rows=rows,
        verdict=verdict(everything)[1:],
    )
