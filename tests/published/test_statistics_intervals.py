"""Differences of shares: the published examples, independent and paired."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest
from numpy.testing import assert_allclose

from tolsim.chance.paired import (
    PairedCounts,
    independent_difference,
    mcnemar,
    paired_difference,
)
from tolsim.chance.plain import plain_estimate, unseen_bound
from tolsim.intervals import wilson

DATA = json.loads((Path(__file__).parent / "data" / "statistics_binomial.json").read_text())


@pytest.mark.parametrize("row", DATA["unpaired_difference"], ids=lambda r: f"{r['x1']}-{r['x2']}")
def test_difference_of_independent_shares(row: dict[str, Any]) -> None:
    """Two score intervals, squared and added, give Newcombe's method 10; statsmodels agrees."""
    first, second = wilson(row["x1"], row["n1"]), wilson(row["x2"], row["n2"])
    got = independent_difference(first, second)
    assert_allclose([got.low, got.high], row["newcombe10"], rtol=1e-9)
    assert_allclose([got.low, got.high], row["statsmodels_newcomb"], rtol=1e-7)
    if row["published"] is not None:  # printed to four decimals, from memory
        assert_allclose([got.low, got.high], row["published"]["newcombe10"], atol=0.5e-4)


@pytest.mark.parametrize(
    "row", DATA["paired_difference"], ids=lambda r: f"{r['only1']}-{r['only2']}"
)
def test_difference_on_common_draws(row: dict[str, Any]) -> None:
    """Paired counts give Newcombe's method 10 and the exact test of an even split."""
    counts = PairedCounts(
        both=row["both"],
        only_first=row["only1"],
        only_second=row["only2"],
        neither=row["neither"],
    )
    got = paired_difference(counts)
    assert_allclose(got.value, row["diff"], rtol=1e-12)
    assert_allclose([got.low, got.high], row["newcombe10"], rtol=1e-9, atol=1e-12)
    assert_allclose(mcnemar(row["only1"], row["only2"]), row["mcnemar_exact_p"], rtol=1e-9)
    if row["published"] is not None:  # printed to four decimals, from memory
        assert_allclose([got.low, got.high], row["published"]["newcombe10"], atol=0.5e-4)


@pytest.mark.parametrize(("n", "row"), DATA["rule_of_three"].items())
def test_zero_failures_give_the_exact_bound(n: str, row: dict[str, float]) -> None:
    """None of n failed: exact one-sided bound and two-sided end; the rule of three is above."""
    e = plain_estimate(0, int(n))
    assert_allclose(unseen_bound(int(n)), row["exact"], rtol=1e-9)
    assert_allclose(e.interval.high, row["exact_two_sided95"], rtol=1e-7)
    assert unseen_bound(int(n)) < row["rule"]


@pytest.mark.parametrize(("case", "n"), DATA["zero_failure_n_needed"].items())
def test_parts_needed_without_a_failure(case: str, n: int) -> None:
    """The bound of n parts is just below the share that is to be shown, that of n - 1 above."""
    share, confidence = (float(part.split("=")[1]) for part in case.split(","))
    assert unseen_bound(n, confidence=confidence) <= share
    assert unseen_bound(n - 1, confidence=confidence) > share
