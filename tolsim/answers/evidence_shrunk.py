"""Further readings of what is not one normal size: alignment, form, settling, another shape.

They are not drawn one by one. What n readings leave open of the parameters narrows with the root
of their number, and moves towards the truth.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.random import Generator
from numpy.typing import NDArray

if TYPE_CHECKING:
    from tolsim.answers.compare_run import Run

__all__ = ["Shrunk", "read_at_once", "shrunk_of"]

FloatArray = NDArray[np.float64]
Feature = tuple[str, str]
_AXES = re.compile(r"\.(offset|tilt)_[xy]$")
_LOBES = re.compile(r"_(cos|sin)$")


@dataclass(frozen=True, slots=True)
class Shrunk:
    r"""What is left open of one measurement, whose features are read at once, after more of it.

    With w = m / (n + m) for m readings more than n, a parameter's draws :math:`\theta` about their
    mean :math:`\bar\theta` become

    .. math:: \theta' = \bar\theta + w (\theta_0 - \bar\theta)
        + \sqrt{w (1 - w)}\,(\theta_r - \bar\theta) + \sqrt{1 - w}\,(\theta - \bar\theta)

    where :math:`\theta_0` is the truth of the world and :math:`\theta_r` a draw of chance. Exact
    for the mean of a normal process whose spread is known; for the rest as exact as draws on the
    scale of the coordinates are normal.

    `now` holds the coordinates (p, k) under all sets, `sets` those that stand for what is open.
    """

    feature: Feature
    features: tuple[Feature, ...]
    supplies: tuple[str, ...]
    n: int
    now: Mapping[Feature, FloatArray]
    sets: NDArray[np.intp]

    paired = False

    def after(self, truth: int, parts: int, rng: Generator) -> dict[Feature, FloatArray]:
        """Coordinates (p, sets) of every feature once `parts` more are read, set `truth` true."""
        w = parts / (self.n + parts)
        chance = int(rng.integers(next(iter(self.now.values())).shape[1]))
        out = {}
        for f, x in self.now.items():
            off = x - x.mean(axis=1, keepdims=True)
            at = x.mean(axis=1) + w * off[:, truth] + np.sqrt(w * (1.0 - w)) * off[:, chance]
            out[f] = at[:, None] + np.sqrt(1.0 - w) * off[:, self.sets]
        return out


def read_at_once(feature: Feature) -> Feature:
    """The measurement that a feature comes from: alignment with all its components, form.

    >>> read_at_once(("bores/b", "bore.offset_x"))
    ('bores/b', 'bore.alignment')
    >>> read_at_once(("bores/b", "bore.diameter"))
    ('bores/b', 'bore.diameter')
    """
    part, key = feature
    return part, _LOBES.sub("", _AXES.sub(".alignment", key))


def shrunk_of(
    run: Run,
    features: Sequence[Feature],
    now: Mapping[Feature, FloatArray],
    sets: NDArray[np.intp],
) -> Shrunk | None:
    """The simulator of features that are read at once; None where the run has none that is read."""
    supplies: dict[str, None] = {}
    n = 0
    for joint in run.joints:
        for build in joint.builds:
            for m in build.measured:
                if (m.part_name, m.key) in features:
                    n = max(n, *m.n)
                    supplies.update(dict.fromkeys(build.names))
    if n == 0:
        return None
    own = {f: now[f] for f in features}
    return Shrunk(read_at_once(features[0]), tuple(features), tuple(supplies), n, own, sets)
