"""Parts of the contributors in the variance of every margin, misalignment included."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tolsim.chance.streams import generator
from tolsim.joint.model import Build, Joint, Margin
from tolsim.record import Recording

__all__ = ["Group", "MarginParts", "Part", "groups_of", "variance_parts"]

FloatArray = NDArray[np.float64]
_DRAWS = 2**14
_WIDE = 1.96
_SMALL = 1e-24  # variance over the squared scale below which a margin does not vary


@dataclass(frozen=True, kw_only=True, slots=True)
class Group:
    """Rows of normals that stand for one contributor, or for what is not known of it.

    `kind` is "contributor", "readings" for what its readings leave open, "shared" where several
    read the same rows, or "own" for rows that belong to no contributor; `name` is its path, the
    paths joined by " and ", or the rows' own name.
    """

    kind: str
    name: str
    rows: tuple[int, ...]


@dataclass(frozen=True, kw_only=True, slots=True)
class Part:
    """Share of one group in a variance: alone, and with all that it does together with others.

    Both with the half-widths of their 95 % intervals.
    """

    group: Group
    first: float
    first_half: float
    total: float
    total_half: float


@dataclass(frozen=True, kw_only=True, slots=True)
class MarginParts:
    """One margin of one build, and the parts of all groups that it depends on."""

    supply: str
    margin: Margin
    parts: tuple[Part, ...]


def groups_of(joint: Joint, build: Build) -> tuple[Group, ...]:
    """Rows that a build's margins read, by whom they stand for."""
    readers: dict[int, list[str]] = {}
    for path, (one, two) in build.values.items():
        for row in joint.recording.select([*one, *two]).reads:
            readers.setdefault(row, []).append(path)
    evidence = set(joint.evidence)
    found: dict[tuple[str, str], list[int]] = {}
    for row in joint.recording.select(list(build.rows)).reads:
        paths = readers.get(row, [])
        if row in evidence:
            key = ("readings", " and ".join(paths) or _bare(joint.latent[row]))
        elif not paths:
            key = ("own", _bare(joint.latent[row]))
        else:
            key = ("contributor" if len(paths) == 1 else "shared", " and ".join(paths))
        found.setdefault(key, []).append(row)
    return tuple(Group(kind=k, name=n, rows=tuple(rows)) for (k, n), rows in found.items())


def _bare(row: str) -> str:
    """A row's name without seat and component."""
    name = row.partition("@")[0]
    return name[:-2] if name.endswith(("_x", "_y")) else name


def variance_parts(joint: Joint, *, seed: int) -> tuple[MarginParts, ...]:
    r"""Parts in the variance of every margin of every build.

    With the rows of a group drawn anew and all others kept,

    .. math:: S = \frac{\mathrm{E}[f_B (f_{A,B} - f_A)]}{V}, \quad
        T = \frac{\mathrm{E}[(f_A - f_{A,B})^2]}{2 V}

    S is what the group does alone, T what it has a hand in; of a margin that adds its
    contributors up both are its share of the sum of squares.

    References
    ----------
    .. [1] Saltelli et al., *Computer Physics Communications* 181 (2010) 259-270: S by eq. (b)
       and T by eq. (f) of its table 2; numbers from memory.
    """
    d = len(joint.latent)
    rng = generator(seed, "variance")
    a, b = rng.standard_normal((d, _DRAWS)), rng.standard_normal((d, _DRAWS))
    out: list[MarginParts] = []
    for build in joint.builds:
        judge = joint.recording.select(list(build.rows))
        fa, fb = judge(a), judge(b)
        centre = 0.5 * (fa.mean(axis=1) + fb.mean(axis=1))[:, None]
        fa, fb = fa - centre, fb - centre
        variance = 0.5 * (np.square(fa).mean(axis=1) + np.square(fb).mean(axis=1))
        groups = groups_of(joint, build)
        tables = [_indices(judge, a, b, fa, fb, centre, g.rows) for g in groups]
        for k, margin in enumerate(build.margins):
            if not variance[k] > _SMALL * float(centre[k, 0]) ** 2:
                continue
            parts = [
                Part(group=g, first=s / v, first_half=e / v, total=t / v, total_half=h / v)
                for g, (s, e, t, h) in zip(groups, (table[:, k] for table in tables), strict=True)
                if t > 0.0
                for v in (float(variance[k]),)
            ]
            parts.sort(key=lambda p: -p.total)
            out.append(
                MarginParts(supply=", ".join(build.names), margin=margin, parts=tuple(parts))
            )
    return tuple(out)


def _indices(
    judge: Recording,
    a: FloatArray,
    b: FloatArray,
    fa: FloatArray,
    fb: FloatArray,
    centre: FloatArray,
    rows: Sequence[int],
) -> FloatArray:
    """First order and total with the half-widths of their intervals, not yet over V, (4, m)."""
    mixed = a.copy()
    mixed[list(rows)] = b[list(rows)]
    fm = judge(mixed) - centre
    first, total = fb * (fm - fa), 0.5 * np.square(fa - fm)
    wide = _WIDE / np.sqrt(a.shape[1])
    return np.array(
        [first.mean(axis=1), wide * first.std(axis=1), total.mean(axis=1), wide * total.std(axis=1)]
    )
