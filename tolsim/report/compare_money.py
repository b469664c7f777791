"""Money on the page of a comparison: what is saved when built, what claims cost later."""

from __future__ import annotations

from typing import Any

from tolsim.report.compare_evidence import break_even_sentence, money_text
from tolsim.report.compare_layout import probability
from tolsim.report.numbers import clean

__all__ = ["money_blocks", "money_range", "money_sentences", "per"]


def money_blocks(p: dict[str, Any]) -> list[tuple[str, list[list[str]], str]]:
    """Of each alternative with a price: its name, its lines, and the sentence on break-even."""
    out = []
    for a in p["alternatives"]:
        if a["money"] is None:
            continue
        m, unit = a["money"], f"{p['currency']} {per(a['money'])}"
        saves = "saves" if m["saving"] >= 0.0 else "costs more"
        rows = [
            [
                "purchasing and assembly, when built:",
                f"{saves} {money_text(abs(m['saving']))} {unit}",
            ],
            ["claims, later, in service:", _claims(m["extra_claims"], unit)],
            [
                "left:",
                f"{money_text(m['net']['value'])} {unit} ({money_range(m['net'])}), "
                f"it pays with a probability of {probability(m['probability_of_paying'])}",
            ],
        ]
        out.append((clean(a["name"]), rows, break_even_sentence(a)))
    return out


def money_sentences(p: dict[str, Any]) -> list[str]:
    """What has no price, and the claims to expect of every alternative."""
    paid = [a for a in p["alternatives"] if a["money"] is not None]
    told = [a for a in p["alternatives"] if a["claims_forecast"] is not None]
    if not (paid or told):
        return []
    out = []
    for a in p["alternatives"]:
        if a["money_unknown"]:
            names = ", ".join(clean(n) for n in a["money_unknown"])
            out.append(f"{clean(a['name'])}: no sum, for want of a price: {names}.")
    for a in told:
        f = a["claims_forecast"]
        out.append(
            f"{clean(a['name'])}, claims to expect {_year(p)}: {_number(f['number']['value'])} "
            f"({_number(f['number']['low'])} to {_number(f['number']['high'])}), "
            f"{money_text(f['cost']['value'])} ({money_range(f['cost'])}) {p['currency']}."
        )
    return out


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
