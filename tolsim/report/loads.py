"""Loads of the seats in both strokes: as numbers for the payload, as sentences for people."""

from __future__ import annotations

import math
from typing import Any

from tolsim.joint.loads import Range, StrokeLoads
from tolsim.report.numbers import clean, minus

__all__ = ["LOADS_HEADING", "load_sentences", "loads_payload"]

LOADS_HEADING = "What loads the seats"


def loads_payload(build: str, loads: StrokeLoads) -> dict[str, Any]:
    """Forces, strokes and the load that decides at each seat, all in N."""
    crank = loads.crank
    return {
        "build": build,
        "pedal": _force(loads.pedal),
        "overhang_mm": crank.overhang,
        "span_mm": crank.span,
        "chain": None
        if loads.chain is None
        else {
            **_force(loads.chain),
            "chain_line_mm": crank.chain_line,
            "chain_angle_deg": math.degrees(crank.chain_angle),
            "drive_seat": crank.drive,
        },
        "strokes": [
            {
                "pedal_at_seat": stroke,
                "seats": [
                    {
                        "seat": seat,
                        "along_pedal_N": pushed,
                        "along_chain_N": None if loads.chain is None else pulled,
                        "load_N": size,
                    }
                    for seat, (pushed, pulled, size) in zip((1, 2), seats, strict=True)
                ],
            }
            for stroke, seats in zip((1, 2), loads.strokes, strict=True)
        ],
        "worst": [
            {"seat": seat, "pedal_at_seat": stroke, "low_N": low, "high_N": high}
            for seat, (stroke, low, high) in zip((1, 2), loads.worst, strict=True)
        ],
        "central_share": 0.9973,
    }


def _force(force: Range) -> dict[str, float]:
    return {"mean_N": force[0], "low_N": force[1], "high_N": force[2]}


def load_sentences(p: dict[str, Any]) -> list[str]:
    """Both strokes and what they load the seats with, once for all builds that share them."""
    told: dict[str, list[str]] = {}
    names = [clean(s["name"]) for s in p["seats"]]
    for x in p["loads"]:
        told.setdefault(_sentence(x, names), []).append(clean(x["build"]))
    if len(told) == 1:
        return list(told)
    return [f"{', '.join(who)}: {text}" for text, who in told.items()]


def _sentence(x: dict[str, Any], names: list[str]) -> str:
    head = f"Pedal force {_newtons(x['pedal'])}, {x['overhang_mm']:g} mm from the middle"
    chain = x["chain"]
    if chain is not None:
        head += (
            f"; chain {_newtons(chain)} at seat {names[chain['drive_seat'] - 1]}, "
            f"{chain['chain_line_mm']:g} mm from the middle, at {chain['chain_angle_deg']:g}° to it"
        )
    strokes = "; w".join(
        f"ith the mean force on the pedal at seat {names[s['pedal_at_seat'] - 1]}, "
        + " and ".join(_seat(at, names) for at in s["seats"])
        for s in x["strokes"]
    )
    worst = " and ".join(
        f"seat {names[w['seat'] - 1]} by {_ends(w)} (pedal at seat {names[w['pedal_at_seat'] - 1]})"
        for w in x["worst"]
    )
    return (
        f"{head}; seats {x['span_mm']:g} mm apart. W{strokes}. The worse stroke judges each seat: "
        f"{worst}, in 99.73 % of units."
    )


def _seat(at: dict[str, Any], names: list[str]) -> str:
    name = names[at["seat"] - 1]
    pushed, pulled = at["along_pedal_N"], at["along_chain_N"]
    if pulled is None:
        lifted = " (lifted)" if pushed < 0.0 else ""
        return f"seat {name} bears {minus(f'{pushed:.0f}')} N{lifted}"
    parts = minus(f"{pushed:.0f} N along the pedal's force, {pulled:.0f} N along the chain")
    return f"seat {name} bears {at['load_N']:.0f} N ({parts})"


def _newtons(force: dict[str, Any]) -> str:
    if round(force["low_N"]) == round(force["high_N"]):
        return f"{force['mean_N']:.0f} N"
    return f"{force['mean_N']:.0f} N on average ({_ends(force)})"


def _ends(force: dict[str, Any]) -> str:
    low, high = f"{force['low_N']:.0f}", f"{force['high_N']:.0f}"
    return f"{low} N" if low == high else f"{low} to {high} N"
