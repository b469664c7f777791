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
            [
                "claims, later, in service:",
                _claims(m["extra_claims"], unit)
                if m["claims_with_a_price"]
                else "left out, nothing says what one costs",
            ],
            ["left:", f"{money_text(m['net']['value'])} {unit} {_left(m)}"],
        ]
        out.append((clean(a["name"]), rows, break_even_sentence(a)))
    return out


def _left(m: dict[str, Any]) -> str:
    """The interval of what is left, and whether it pays."""
    net = m["net"]
    if net["low"] == 0.0 == net["high"]:
        return "exactly: it costs the same"
    pays = (
        "claims left out"
        if not m["claims_with_a_price"]
        else (f"it pays with a probability of {probability(m['probability_of_paying'])}")
    )
    return f"({money_range(net)}), {pays}"


def money_sentences(p: dict[str, Any]) -> list[str]:
    """What has no price, and the claims to expect of every alternative."""
    paid = [a for a in p["alternatives"] if a["money"] is not None]
    bare = [
        word
        for mode, word in (("creak", "creaking"), ("tight", "overly tight"))
        if paid and paid[0]["money"]["claims_with_a_price"] and _unpriced(mode, p)
    ]
    told = [a for a in p["alternatives"] if a["claims_forecast"] is not None]
    if not (paid or told):
        return []
    out = []
    if bare:
        out.append(
            f"Claims on {' and '.join(bare)} units are left out of these sums: nothing says what "
            "one costs."
        )
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
    if low == 0.0 == high:
        return "no difference"
    word = "more" if line["value"] >= 0.0 else "less"
    if low < 0.0 < high:
        ends = f"between {money_text(-low)} less and {money_text(high)} more"
    else:
        least, most = sorted((abs(low), abs(high)))
        ends = f"{money_text(least)} to {money_text(most)}"
    return f"{word} by {money_text(abs(line['value']))} {unit} ({ends})"


def _unpriced(mode: str, p: dict[str, Any]) -> bool:
    """Whether units fail so, differ in it, and no claim of it has a price."""
    priced = [a["money"]["claims_with_a_price"] for a in p["alternatives"] if a["money"]]
    differs = (a["differences"].get(mode) for a in p["alternatives"])
    return mode not in priced[0] and any(d is not None and not d["same"] for d in differs)


def _number(x: float) -> str:
    """How many claims.

    >>> _number(2.0), _number(0.67), _number(1234.0), _number(2e-7)
    ('2', '0.67', '1 230', 'below 0.001')
    """
    if 0.0 < x < 1e-3:
        return "below 0.001"
    return f"{x:.2g}" if x < 10.0 else money_text(x)


def money_range(line: dict[str, float]) -> str:
    """An interval of money."""
    return f"{money_text(line['low'])} to {money_text(line['high'])}"


def per(m: dict[str, Any]) -> str:
    """What sums refer to."""
    return "a year" if m["yearly"] else "a thousand units"


def _year(p: dict[str, Any]) -> str:
    return "a year" if p["yearly"] else "in a thousand units"
