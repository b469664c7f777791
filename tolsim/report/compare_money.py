"""Money on the page of a comparison: what is saved when built, what claims cost later."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from tolsim.report.compare_evidence import break_even_sentence, money_text
from tolsim.report.compare_layout import probability, table, wrap
from tolsim.report.numbers import clean

__all__ = ["money_lines", "money_range", "per"]


def money_lines(p: dict[str, Any], width: int) -> Iterator[str]:
    """The section on money."""
    paid = [a for a in p["alternatives"] if a["money"] is not None]
    lost = [a for a in p["alternatives"] if a["money_unknown"]]
    told = [a for a in p["alternatives"] if a["claims_forecast"] is not None]
    if not (paid or told):
        return
    yield "Money: who pays is not who saves"
    for a in paid:
        m, unit = a["money"], f"{p['currency']} {per(a['money'])}"
        name = clean(a["name"])
        saves = "saves" if m["saving"] >= 0.0 else "costs more"
        claims = m["extra_claims"]
        yield f"  {name}"
        rows = [
            [
                "purchasing and assembly, when built:",
                f"{saves} {money_text(abs(m['saving']))} {unit}",
            ],
            [
                "claims, later, in service:",
                _claims(claims, unit),
            ],
            [
                "left:",
                f"{money_text(m['net']['value'])} {unit} ({money_range(m['net'])}), "
                f"above zero with {probability(m['probability_of_paying'])}",
            ],
        ]
        yield from table(rows, "    ")
        yield from wrap(break_even_sentence(a), width, "    ")
    for a in lost:
        names = ", ".join(clean(n) for n in a["money_unknown"])
        yield from wrap(f"{clean(a['name'])}: no sum, for want of a price: {names}.", width, "  ")
    for a in told:
        f = a["claims_forecast"]
        yield from wrap(
            f"{clean(a['name'])}, claims to expect {_year(p)}: {_number(f['number']['value'])} "
            f"({_number(f['number']['low'])} to {_number(f['number']['high'])}), "
            f"{money_text(f['cost']['value'])} "
            f"({money_range(f['cost'])}) {p['currency']}.",
            width,
            "  ",
        )


def _claims(line: dict[str, float], unit: str) -> str:
    """Claims beside those of the reference."""
    low, high = line["low"], line["high"]
    word = "more" if line["value"] >= 0.0 else "less"
    if low < 0.0 < high:
        ends = f"between {money_text(-low)} less and {money_text(high)} more"
    else:
        least, most = sorted((abs(low), abs(high)))
        ends = f"{money_text(least)} to {money_text(most)}"
    return f"{word} by {money_text(abs(line['value']))} {unit} ({ends})"


def _number(x: float) -> str:
    """How many claims.

    >>> _number(2.0), _number(0.67), _number(1234.0)
    ('2', '0.67', '1 230')
    """
    return f"{x:.2g}" if x < 10.0 else money_text(x)


def money_range(line: dict[str, float]) -> str:
    """An interval of money."""
    return f"{money_text(line['low'])} to {money_text(line['high'])}"


def per(m: dict[str, Any]) -> str:
    """What sums refer to."""
    return "a year" if m["yearly"] else "a thousand units"


def _year(p: dict[str, Any]) -> str:
    paid = [a["money"] for a in p["alternatives"] if a["money"] is not None]
    return "a thousand units" if paid and not paid[0]["yearly"] else "a year"
