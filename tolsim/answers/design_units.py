"""Failed units of one case: what they keep of their sizes, and how often bands make such sizes."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tolsim.answers.design_cases import Case
from tolsim.answers.design_followers import Band, Read
from tolsim.answers.design_ties import Tie, ties_of
from tolsim.answers.design_variant import changed
from tolsim.answers.tally import events_of, evidence_table
from tolsim.chance.streams import BLOCK, Streams
from tolsim.joint.assemble import assemble
from tolsim.record import Recording

__all__ = ["Branch", "Points", "Slopes", "Snapshot", "Units", "log_density"]
__all__ += ["log_density_slopes", "points_of", "rows_at"]

FloatArray = NDArray[np.float64]
Bands = Sequence[Band]


@dataclass(frozen=True, kw_only=True, slots=True)
class Branch:
    """Units from one combination of parts: their share, ways to fail and tied rows.

    `events` maps a mode to outputs of `recording`, `relevant` to the ties that it depends on.
    """

    share: float
    recording: Recording
    events: Mapping[str, list[int]]
    ties: tuple[Tie, ...]
    relevant: Mapping[str, tuple[int, ...]]

    def ties_of(self, mode: str) -> tuple[Tie, ...]:
        """Ties that a mode depends on."""
        return tuple(self.ties[k] for k in self.relevant[mode])


@dataclass(frozen=True, kw_only=True, slots=True)
class Snapshot:
    """A case with its bands set, ready to be drawn: rows of normals and branches over them."""

    latent: tuple[str, ...]
    branches: tuple[Branch, ...]
    #: (middle, width) of every band as it is drawn.
    bands: tuple[Band, ...]
    evidence: tuple[int, ...] = ()
    table: FloatArray | None = None

    def count(self, seed: int, blocks: range) -> dict[tuple[int, str], int]:
        """Failures by branch and mode among plain units of some blocks."""
        streams = Streams(seed, self.latent)
        z = np.zeros((len(self.latent), BLOCK))
        read = sorted({r for b in self.branches for r in b.recording.reads} - set(self.evidence))
        for i in self.evidence:
            assert self.table is not None
            z[i] = np.tile(self.table[i], BLOCK // self.table.shape[1])
        out = {(i, m): 0 for i, b in enumerate(self.branches) for m in b.events}
        drawn = np.empty((len(read), BLOCK))
        for block in blocks:
            streams.fill(block, drawn, rows=read)
            z[read] = drawn
            for i, branch in enumerate(self.branches):
                good = branch.recording(z) >= 0.0  # no number is no good unit either
                for mode, rows in branch.events.items():
                    passed = np.logical_and.reduce(good[rows], axis=0)
                    out[i, mode] += BLOCK - int(np.count_nonzero(passed))
        return out


@dataclass(frozen=True, slots=True)
class Points:
    """Failed units (k,) of one branch and mode: variables and what goes with them, tie by tie."""

    variables: tuple[FloatArray, ...]
    columns: tuple[tuple[FloatArray | None, ...], ...]
    correlations: tuple[FloatArray | None, ...]
    size: int

    def take(self, chosen: NDArray[np.intp]) -> Points:
        """Some of them."""
        return Points(
            tuple(v[:, chosen] for v in self.variables),
            tuple(tuple(None if c is None else c[:, chosen] for c in row) for row in self.columns),
            tuple(None if r is None else r[chosen] for r in self.correlations),
            len(chosen),
        )


def log_density(
    ties: Sequence[Tie], points: Points, bands: Bands, *, soft: float = 0.0
) -> FloatArray:
    """Log density (k,) of the free sizes of failed units at bands, but for a constant."""
    return _density(ties, points, bands, soft)[0]


class Slopes:
    """Derivatives of the log densities of units by every band, to be summed with weights."""

    def __init__(self, bands: int, terms: list[tuple[int, FloatArray, Read]]) -> None:
        self._bands, self._terms = bands, terms

    def sums(self, *weights: FloatArray) -> list[FloatArray]:
        """Sum of the derivatives (bands, 2) by middle and width, for each set of weights (k,)."""
        out = [np.zeros((self._bands, 2)) for _ in weights]
        for freedom, slope, read in self._terms:
            for w, total in zip(weights, out, strict=True):
                # no BLAS: its threads cost more than such short sums
                total[freedom] += np.einsum("ij,j,j->i", read.t_by, w, slope)
                total[freedom] += np.einsum("ij,j->i", read.slope_by, w)
        return out


def log_density_slopes(
    ties: Sequence[Tie], points: Points, bands: Bands, *, soft: float = 0.0
) -> tuple[FloatArray, Slopes]:
    """The same with its derivatives by the bands."""
    total, terms = _density(ties, points, bands, soft)
    return total, Slopes(len(bands), terms)


def _density(
    ties: Sequence[Tie], points: Points, bands: Bands, soft: float
) -> tuple[FloatArray, list[tuple[int, FloatArray, Read]]]:
    total = np.zeros(points.size)
    terms: list[tuple[int, FloatArray, Read]] = []
    for tie, values, columns, rho in zip(
        ties, points.variables, points.columns, points.correlations, strict=True
    ):
        t = values.copy()
        reads = []
        for j, variable in enumerate(tie.variables):
            if variable is None:
                continue
            band = bands[variable.freedom]
            read = variable.follower.read(values[j], band, columns[j], soft)
            t[j] = read.t
            total += read.log_slope
            reads.append((j, variable.freedom, read))
        z = tie.backward(t, rho)
        total -= 0.5 * np.einsum("ij,ij->j", z, z)
        slope = tie.slope(z, rho)
        terms += [(freedom, slope[j], read) for j, freedom, read in reads]
    return total, terms


def points_of(ties: Sequence[Tie], z: FloatArray, bands: Bands) -> Points:
    """Variables of units from their rows z (d, k), drawn at bands."""
    variables, columns, correlations = [], [], []
    for tie in ties:
        rho = None if tie.correlation is None else tie.correlation(z)
        t = tie.forward(z[list(tie.rows)], rho)
        row: list[FloatArray | None] = []
        for j, variable in enumerate(tie.variables):
            own = None
            if variable is not None:
                own = None if variable.columns is None else variable.columns(z)
                t[j] = variable.follower.draw(t[j], bands[variable.freedom], own)
            row.append(own)
        variables.append(t)
        columns.append(tuple(row))
        correlations.append(rho)
    return Points(tuple(variables), tuple(columns), tuple(correlations), z.shape[1])


def rows_at(snapshot: Snapshot, branch: int, z: FloatArray, bands: Bands) -> FloatArray:
    """Rows (d, n) of a snapshot that give the sizes which rows `z` would have under bands."""
    out = z.copy()
    ties = snapshot.branches[branch].ties
    points = points_of(ties, z, bands)
    for tie, values, columns, rho in zip(
        ties, points.variables, points.columns, points.correlations, strict=True
    ):
        t = values.copy()
        for j, variable in enumerate(tie.variables):
            if variable is not None:
                band = snapshot.bands[variable.freedom]
                t[j] = variable.follower.read(values[j], band, columns[j], 0.0).t
        for row, value in zip(tie.rows, tie.backward(t, rho), strict=True):
            out[row] = value
    return out


#: Bands are drawn wider by these factors: units of a narrow spread say nothing of a wide one, and
#: outside the limits of a band that sorts a sample is silent.
WIDER, WIDER_SORTED = 1.2, 1.5


class Units:
    """Units of one case at any bands.

    Parameters
    ----------
    case : Case
        What is chosen and what is free.
    targets : mapping
        Modes that are of interest.
    seed : int
        Of the parameter sets of readings.
    """

    def __init__(self, case: Case, targets: Mapping[str, float], seed: int) -> None:
        self.case, self.targets, self.seed = case, targets, seed
        self.freedoms = case.freedoms

    def bands(self, theta: FloatArray) -> list[Band]:
        """(middle, width) of every band at a point."""
        return self.case.bands(theta)

    def places(self) -> list[tuple[int | None, int | None]]:
        """Where in the vector each band keeps its middle and width."""
        return self.case.places()

    def bounds(self) -> FloatArray:
        """Ends of every free number, (d, 2)."""
        return self.case.bounds()

    def at(self, theta: FloatArray) -> Snapshot:
        """The case at a point, its bands a little wider."""
        bands = [
            (c, w * (WIDER_SORTED if f.sorts else WIDER))
            for f, (c, w) in zip(self.case.freedoms, self.case.bands(theta), strict=True)
        ]
        study = self.case.study
        for f, band in zip(self.case.freedoms, bands, strict=True):
            study = changed(study, f, band)
        joint = assemble(study)
        branches: list[Branch] = []
        for build in joint.builds:
            events = events_of(build)
            wanted = {m: events[m, 0] for m in self.targets if (m, 0) in events}
            outputs = sorted({r for rows in wanted.values() for r in rows})
            ties = ties_of(self.case, study, joint, build)
            relevant = {}
            for m, rows in wanted.items():
                reads = set(joint.recording.select(rows).reads)
                relevant[m] = tuple(k for k, t in enumerate(ties) if reads.intersection(t.rows))
            branches.append(
                Branch(
                    share=build.share,
                    recording=joint.recording.select(outputs),
                    events={m: [outputs.index(r) for r in rows] for m, rows in wanted.items()},
                    ties=ties,
                    relevant=relevant,
                )
            )
        return Snapshot(
            latent=joint.latent,
            branches=tuple(branches),
            bands=tuple(bands),
            evidence=joint.evidence,
            table=evidence_table(joint, self.seed) if joint.evidence else None,
        )
