"""Coverage of an estimator's intervals on a problem whose answer is known.

A problem passes when its coverage is not significantly below 0.93 at 99.9 %, given its own
repeats, and when its intervals are no wider on average than 1.3 times what the true spread of the
estimate asks for: a wide interval is no merit.
"""

from __future__ import annotations

import math
import time
from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from scipy.special import bdtr, chdtri, ndtri

from tolsim.chance.estimate import Estimate, estimate
from tolsim.chance.event import Event
from tolsim.chance.plain import unseen_bound

__all__ = ["COLUMNS", "Coverage", "measure", "verdict"]

COLUMNS = (
    "problem",
    "exact",
    "repeats",
    "method",
    "coverage of 95 %",
    "width / honest width",
    "rms error of the logarithm",
    "evaluations",
    "plain draws for the same error / evaluations",
    "silent misses",
    "not trusted",
    "seconds each",
    "pass",
)

_HONEST = 2.0 * float(ndtri(0.975))  # 3.92 standard deviations
_WIDEST = 1.3
_FULL = 190  # trusted repeats from which the true spread is taken as known
_SILENT = 5.0  # standard errors beyond which a trusted estimate is called wrong


@dataclass(frozen=True, kw_only=True, slots=True)
class Coverage:
    """What repeats of one problem came to.

    Parameters
    ----------
    covered, trusted : int
        Trusted estimates whose interval holds the exact value, and all trusted ones.
    width : float
        Mean logarithmic width over 3.92 true standard deviations of the logarithm.
    error : float
        Root mean square of ln(estimate / exact).
    evaluations : float
        Mean per estimate, gradients and cross-examination counted, plain run not.
    gain : float
        Plain draws that give the same error, over the evaluations.
    silent : int
        Trusted estimates more than five of their standard errors from the exact value.
    """

    name: str
    exact: float
    repeats: int
    trusted: int
    covered: int
    width: float
    error: float
    evaluations: float
    gain: float
    silent: int
    methods: str
    seconds: float

    @property
    def share(self) -> float:
        """Share of trusted intervals that hold the exact value."""
        return self.covered / self.trusted if self.trusted else math.nan

    @property
    def passed(self) -> bool:
        """Whether coverage and width meet the criteria, without a silent miss."""
        if self.trusted < 2:
            return False
        as_low = float(bdtr(self.covered, self.trusted, 0.93))
        return as_low > 1e-3 and self.width <= self.widest and self.silent == 0

    @property
    def widest(self) -> float:
        """Allowed width: 1.3 at 200 repeats; fewer know the true spread less well.

        Their chi-square allowance at 99.9 % then comes on top.
        """
        if self.trusted >= _FULL:
            return _WIDEST
        f = self.trusted - 1
        return _WIDEST / math.sqrt(float(chdtri(f, 0.999)) / f)

    def row(self) -> tuple[str, ...]:
        """As a row of the table."""
        return (
            self.name,
            f"{self.exact:.4g}",
            f"{self.repeats}",
            self.methods,
            f"{self.share:.3f}",
            f"{self.width:.2f}",
            f"{self.error:.4f}",
            f"{self.evaluations:.3g}",
            f"{self.gain:.3g}",
            f"{self.silent}",
            f"{self.repeats - self.trusted}",
            f"{self.seconds:.2f}",
            "yes" if self.passed else "NO",
        )


def measure(
    name: str,
    event: Event,
    exact: float,
    *,
    repeats: int,
    seed: int,
    plain_draws: int = 2**20,
    target_relative: float = 0.1,
    run: Callable[..., Estimate] = estimate,
) -> Coverage:
    """Repeat the estimator with fresh seeds.

    The plain count of each repeat is drawn from its exact binomial distribution, which is what a
    plain run would give, at no cost.
    """
    rng = np.random.default_rng([seed, 1])
    got: list[Estimate] = []
    began = time.perf_counter()
    for k in range(repeats):
        counts = (int(rng.binomial(plain_draws, exact)), plain_draws)
        got.append(run(event, seed=seed + k, plain_counts=counts, target_relative=target_relative))
    seconds = (time.perf_counter() - began) / repeats
    trusted = [e for e in got if e.trusted]
    logs = np.array([math.log(e.value / exact) for e in trusted])
    errors = np.array([e.relative_error for e in trusted])
    spread = float(logs.std(ddof=1)) if logs.size > 1 else math.nan
    widths = [math.log(e.high / max(e.low, 1e-300)) for e in trusted]
    spent = float(np.mean([e.evaluations for e in got]))
    mean_square = float(np.mean(logs**2)) if logs.size else math.nan
    plain_alike = (1.0 - exact) / exact / mean_square
    return Coverage(
        name=name,
        exact=exact,
        repeats=repeats,
        trusted=len(trusted),
        covered=sum(e.low <= exact <= e.high for e in trusted),
        width=float(np.mean(widths)) / (_HONEST * spread) if trusted else math.nan,
        error=math.sqrt(mean_square),
        evaluations=spent,
        gain=plain_alike / spent if spent else math.nan,
        silent=int((np.abs(logs) > _SILENT * errors).sum()),
        methods=", ".join(f"{m} {c}" for m, c in Counter(e.method for e in got).most_common()),
        seconds=seconds,
    )


def verdict(results: Sequence[Coverage]) -> list[str]:
    """What all problems together came to."""
    trusted = sum(r.trusted for r in results)
    repeats = sum(r.repeats for r in results)
    covered = sum(r.covered for r in results)
    silent = sum(r.silent for r in results)
    failed = [r.name for r in results if not r.passed]
    bound = unseen_bound(repeats) if silent == 0 else math.nan
    lines = [
        f"{len(results) - len(failed)} of {len(results)} problems pass"
        + (f"; not: {', '.join(failed)}." if failed else "."),
        f"Coverage over all {trusted} trusted estimates: {covered / max(trusted, 1):.4f} "
        "(goal 0.94 on average).",
        f"{repeats - trusted} of {repeats} estimates were not trusted and said so.",
    ]
    if silent:
        lines.append(f"{silent} estimates were wrong by more than five standard errors, unflagged.")
    else:
        lines.append(
            f"No estimate was wrong by more than five standard errors without a flag: "
            f"at most {bound:.2g} of runs at 95 % confidence."
        )
    return lines
