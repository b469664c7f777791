"""A general-purpose uncertainty library on the same vectorised joint, where it is installed."""

from __future__ import annotations

import importlib.util
import time

import numpy as np

from tests.benchmarks.chance_draws import counting
from tests.benchmarks.row import Row
from tests.benchmarks.small_joint import NAMES, SEVERITIES, margins
from tolsim.chance.blocks import run_blocks
from tolsim.chance.streams import BLOCK, Streams

_WHAT = "CPU per draw, OpenTURNS Monte Carlo / tolsim, same vectorised joint"
_BLOCKS = 60


def rows() -> list[Row]:
    """One row: CPU seconds per draw, so that threads do not count."""
    if importlib.util.find_spec("openturns") is None:
        return [Row.skipped(_WHAT, ">= 4.5", "openturns is not installed")]
    import openturns as ot

    severity = SEVERITIES[1e-3]
    function = margins(severity)

    def vectorised(sample: object) -> np.ndarray:
        z = np.ascontiguousarray(np.asarray(sample).T)
        return np.asarray(np.min(function(list(z)), axis=0))[:, None]

    d = len(NAMES)
    model = ot.PythonFunction(d, 1, func_sample=vectorised)
    event = ot.ThresholdEvent(
        ot.CompositeRandomVector(model, ot.RandomVector(ot.Normal(d))), ot.Less(), 0.0
    )
    ot.RandomGenerator.SetSeed(1)
    monte_carlo = ot.ProbabilitySimulationAlgorithm(event, ot.MonteCarloExperiment())
    monte_carlo.setBlockSize(BLOCK)
    monte_carlo.setMaximumOuterSampling(_BLOCKS)
    monte_carlo.setMaximumCoefficientOfVariation(0.0)
    began = time.process_time()
    monte_carlo.run()
    theirs = time.process_time() - began
    p = monte_carlo.getResult().getProbabilityEstimate()
    make = counting(Streams(1, NAMES), severity)
    began = time.process_time()
    failed = sum(run_blocks(make, _BLOCKS, workers=1))
    ours = time.process_time() - began
    n = _BLOCKS * BLOCK
    return [
        Row.at_least(
            _WHAT,
            4.5,
            theirs / ours,
            f"OpenTURNS {ot.__version__}: {1e9 * theirs / n:.0f} ns and {p:.3g}; "
            f"tolsim: {1e9 * ours / n:.0f} ns and {failed / n:.3g}",
        )
    ]
