"""Acceptance sampling: plans by attributes (ISO 2859-1) and by variables (ANSI Z1.9).

Single sampling, general inspection level II, acceptance quality limits (AQL) from 0.10 to 6.5 %
(variables to 10 %). ISO 2859-1 was seen in two public tables that agree; Z1.9 in one table, its
lower right block from memory. ISO 3951-1 has sample sizes of its own and is not this table.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache
from typing import Literal, TypeAlias

from tolsim.standards.tables import Row, TableError, rows, weakest

__all__ = ["AttributePlan", "Severity", "VariablesPlan", "attribute_plan", "variables_plan"]

Severity: TypeAlias = Literal["normal", "tightened"]
_SEVERITIES: tuple[Severity, ...] = ("normal", "tightened")


@dataclass(frozen=True, kw_only=True, slots=True)
class AttributePlan:
    """Draw `sample_size` parts, accept the lot with at most `accept` bad ones.

    `code_letter` follows from the lot, `plan_letter` differs from it where an arrow of the table
    leads to another plan. Where the sample reaches the lot, every part is inspected.
    """

    lot: int
    aql_percent: float
    severity: Severity
    code_letter: str
    plan_letter: str
    sample_size: int
    accept: int
    reject: int
    every_part: bool
    confidence: str
    source: str

    def acceptance(self, bad: float) -> float:
        """Chance that a lot from a process with a share `bad` of bad parts is accepted (0 to 1).

        Binomial (a type B operating characteristic), exact.
        """
        if not 0.0 <= bad <= 1.0:
            raise ValueError(f"need a share between 0 and 1, got {bad}")
        if bad in (0.0, 1.0):
            return 1.0 - bad
        n, good = self.sample_size, 1.0 - bad
        return math.fsum(
            math.comb(n, i) * math.exp(i * math.log(bad) + (n - i) * math.log(good))
            for i in range(min(self.accept, n) + 1)
        )


@dataclass(frozen=True, kw_only=True, slots=True)
class VariablesPlan:
    """Measure `sample_size` parts, accept where ``(limit - mean) / s >= k`` (s unknown, form 1).

    `max_percent` is the largest estimated share of bad parts of form 2, which two limits at once
    need; None where it is not given.
    """

    lot: int
    aql_percent: float
    code_letter: str
    plan_letter: str
    sample_size: int
    k: float
    max_percent: float | None
    confidence: str
    source: str

    def acceptance(self, bad: float) -> float:
        """Chance that a normal process with a share `bad` beyond ONE limit is accepted (0 to 1).

        ``P(T >= k sqrt(n))`` with T noncentral t, n - 1 degrees of freedom and noncentrality
        ``z sqrt(n)``, z the upper `bad` point of the normal distribution.
        """
        from scipy.special import nctdtr, ndtri

        if not 0.0 < bad < 1.0:
            raise ValueError(f"need a share between 0 and 1, got {bad}")
        root = math.sqrt(self.sample_size)
        shift = -float(ndtri(bad)) * root
        return 1.0 - float(nctdtr(self.sample_size - 1, shift, self.k * root))


def attribute_plan(lot: int, aql_percent: float, severity: Severity = "normal") -> AttributePlan:
    """Single sampling plan by attributes for a lot of `lot` parts.

    Raises
    ------
    TableError
        A lot under 2 parts, an AQL or severity that the table does not have.

    References
    ----------
    .. [1] ISO 2859-1:1999, Tables 1, 2-A and 2-B, as printed in public tables.

    >>> plan = attribute_plan(900, 1.0)
    >>> plan.code_letter, plan.sample_size, plan.accept
    ('J', 80, 2)
    """
    if severity not in _SEVERITIES:
        raise TableError(
            "unknown severity of inspection", found=severity, allowed=", ".join(_SEVERITIES)
        )
    start = _letter(rows("iso2859_1_code_letters"), lot)
    letter = start["code_letter_general_level_II"]
    table = _attributes()
    aql = _aql(aql_percent, sorted({a for _, _, a in table}))
    row = table[severity, letter, aql]
    n = int(row["resolved_sample_size"])
    return AttributePlan(
        lot=lot,
        aql_percent=aql,
        severity=severity,
        code_letter=letter,
        plan_letter=row["resolved_letter"],
        sample_size=min(n, lot),
        accept=int(row["Ac"]),
        reject=int(row["Re"]),
        every_part=n >= lot,
        confidence=weakest([start["confidence"], row["confidence"]]),
        source=row["provenance"],
    )


def variables_plan(lot: int, aql_percent: float) -> VariablesPlan:
    """Plan by variables, standard deviation method, normal inspection, one limit.

    Where a cell is empty the first plan below it holds (an arrow of the table, from memory).

    Raises
    ------
    TableError
        A lot under 2 parts or an AQL that the table does not have.

    References
    ----------
    .. [1] ANSI/ASQ Z1.9 (MIL-STD-414), Tables A-2 and B-1, as printed in public tables.

    >>> plan = variables_plan(200, 1.0)
    >>> plan.code_letter, plan.sample_size, plan.k
    ('G', 15, 1.79)
    """
    start = _letter(rows("z1_9_code_letters"), lot)
    letter = start["code_letter_general_level_II"]
    table = _variables()
    aql = _aql(aql_percent, sorted({a for _, a in table}))
    order = sorted({key for key, _ in table})
    row = next(table[key, aql] for key in order if key >= letter and (key, aql) in table)
    return VariablesPlan(
        lot=lot,
        aql_percent=aql,
        code_letter=letter,
        plan_letter=row["code_letter"],
        sample_size=int(row["n"]),
        k=float(row["k"]),
        max_percent=float(row["M_form2_percent"]) if row["M_form2_percent"] else None,
        confidence=weakest([start["confidence"], row["confidence"]]),
        source=row["provenance"],
    )


def _letter(table: Sequence[Row], lot: int) -> Row:
    for row in table:
        if int(row["lot_from"]) <= lot and (not row["lot_to"] or lot <= int(row["lot_to"])):
            return row
    raise TableError("no plan for this lot", found=f"{lot} parts", allowed="2 or more", closest="2")


def _aql(wanted: float, kept: Sequence[float]) -> float:
    for aql in kept:
        if math.isclose(aql, wanted, rel_tol=1e-9):
            return aql
    near = None
    if wanted > 0.0 and math.isfinite(wanted):
        near = f"{min(kept, key=lambda a: abs(math.log(a / wanted))):g} %"
    raise TableError(
        "the table has no such acceptance quality limit",
        found=f"{wanted:g} %",
        allowed=", ".join(f"{a:g}" for a in kept) + " %",
        closest=near,
    )


@cache
def _attributes() -> dict[tuple[str, str, float], Row]:
    return {
        (r["severity"], r["code_letter"], float(r["AQL_percent"])): r
        for r in rows("iso2859_1_single_sampling")
    }


@cache
def _variables() -> dict[tuple[str, float], Row]:
    return {
        (r["code_letter"], float(r["AQL_percent"])): r
        for r in rows("z1_9_form1_k_standard_deviation_method")
    }
