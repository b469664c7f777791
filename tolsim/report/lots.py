"""How the lots of the readings were taken: payload and sentences."""

from __future__ import annotations

from typing import Any

from tolsim.answers.lots_taken import LotsTaken
from tolsim.report.numbers import clean, micrometres, share_range, target

__all__ = ["lot_sentences", "lots_payload"]

_WORDS = {"met": "MET", "missed": "MISSED", "undecided": "UNDECIDED"}
_MODES = {"tight": "overly tight", "bond": "bond lost"}


def lots_payload(taken: LotsTaken) -> dict[str, Any]:
    """One measured size: how many lots, whether they differ, and how they are taken."""
    return {
        "part": taken.part,
        "feature": taken.key,
        "lots": taken.lots,
        "taken": "random" if taken.random else "one",
        "stated": taken.stated,
        "share_of_equal_lots": taken.p_value,
        "means_um": [1e3 * v for v in taken.means],
        "between_sd_um": [1e3 * v for v in taken.between],
        "kept_by_shape": taken.kept,
    }


def lot_sentences(p: dict[str, Any]) -> list[str]:
    """How lots are taken, and what those not measured could do."""
    out = [_told(x) for x in p["lots"]]
    later = p["next_lot"]
    if later:
        told = "; ".join(
            f"{_MODES.get(name, name)} {share_range(m['low'], m['high'])}, against "
            f"{target(m['target'])} {_WORDS[m['verdict']]}"
            for name, m in later.items()
        )
        out.append(
            f"Were lots still to differ by what these lots cannot rule out, any lot would be: "
            f"{told}. Only more lots can tell, and compare decides nothing that does not hold "
            "there too. With few lots the true share lay below such a range in up to 6 % of "
            "trials, where 2.5 % are meant."
        )
    return out


def _number(n: int) -> str:
    """A small number in words."""
    words = ("two", "three", "four", "five", "six", "seven", "eight", "nine", "ten", "eleven")
    return words[n - 2] if 2 <= n <= 11 else f"{n}"


def _told(x: dict[str, Any]) -> str:
    low, high = x["means_um"]
    head = (
        f"{clean(x['part'])}, {x['feature']}: {_number(x['lots'])} lots with means from "
        f"{micrometres(low)} to {micrometres(high)} µm"
    )
    p = x["share_of_equal_lots"]
    seldom = "less than 0.01 %" if p < 1e-4 else f"{100.0 * p:.2g} %"
    ends = x["between_sd_um"]
    if x["taken"] == "random":
        why = "as the part states" if x["stated"] else f"{seldom} of equal lots differ as much"
        return (
            f"{head}, taken as random effects ({why}): every share is that of any lot, the next "
            f"one included; the spread between lots lies between {micrometres(ends[0])} and "
            f"{micrometres(ends[1])} µm at 95 % confidence. Draws from few lots put a far mean "
            "beside a large spread only, so every range takes in the spread at its estimate as "
            "well."
        )
    why = "as the part states" if x["stated"] else f"{seldom} of equal lots differ as much"
    if x["kept_by_shape"] and not x["stated"]:
        why += f", but the shape stated, {x['kept_by_shape']}, is worked for one lot only"
    return f"{head}, taken as one lot ({why})."
