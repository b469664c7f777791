"""What constants that are remembered or stated could do to an answer, in sentences."""

from __future__ import annotations

from typing import Any

from tolsim.report.mode_words import MODE_WORDS, VERDICT_WORDS
from tolsim.report.numbers import share

__all__ = ["assumption_sentence", "assumption_sentences"]


def assumption_sentence(p: dict[str, Any]) -> str | None:
    """Which remembered constants could turn a verdict, in one sentence."""
    if not p["assumptions"]:
        return None
    turning = [a for a in p["assumptions"] if a["could_turn"]]
    names = ", ".join(a["name"] for a in p["assumptions"])
    if not turning:
        return f"No {_constant(p)} turns a verdict within its range ({names})."
    told = "; ".join(
        f"{a['name']} ({a['low']:g} to {a['high']:g}, taken {a['value']:g}{_unit(a['unit'])}) on "
        + " and ".join(MODE_WORDS[m] for m in a["could_turn"])
        for a in turning
    )
    return f"{_constant(p).capitalize()}s that could turn a verdict within their range: {told}."


def _constant(p: dict[str, Any]) -> str:
    known = {a["stated_by"] is not None for a in p["assumptions"]}
    word = " or ".join(
        word for stated, word in ((False, "remembered"), (True, "stated")) if stated in known
    )
    return f"{word} constant"


def _unit(unit: str) -> str:
    return "" if unit == "1" else f" {unit}"


def assumption_sentences(p: dict[str, Any]) -> list[str]:
    """What remembered constants could do to the answer, and did where they were rerun."""
    sentence = assumption_sentence(p)
    if sentence is None:
        return []
    out = [sentence]
    runs = p.get("assumption_runs")
    if runs is not None:
        out = [_turned(runs, _constant(p))]  # reruns say more than the short look of a plain run
    if runs is None:
        if any(a["could_turn"] for a in p["assumptions"]):
            out.append("--assumptions reruns the study at both ends of each.")
        return out
    for run in runs:
        name = " with ".join(
            f"{c['name']} at {c['value']:g}{_unit(c['unit'])}" for c in run["constants"]
        )
        rates = ", ".join(
            f"{MODE_WORDS[n]} {share(m['share'], m['low'], m['high'])}"
            for n, m in run["modes"].items()
        )
        turned = "".join(
            f"; {MODE_WORDS[n]} turns to {VERDICT_WORDS[run['modes'][n]['verdict']]}"
            for n in run["turned"]
        )
        out.append(f"{name}: {rates}{turned}.")
    told = {c["name"]: c["basis"] for run in runs for c in run["constants"]}
    return out + [f"{name}: {basis}." for name, basis in told.items()]


def _turned(runs: list[dict[str, Any]], constant: str) -> str:
    """Which reruns turned a verdict, in one sentence."""
    names = dict.fromkeys(
        " with ".join(c["name"] for c in run["constants"]) for run in runs if run["turned"]
    )
    if not names:
        return f"Rerun at both ends of their ranges, no {constant} turns a verdict."
    return f"Rerun at both ends of their ranges, these turn a verdict: {', '.join(names)}."
