"""How often the rule of `compare` accepts or rejects wrongly, over whole simulated worlds.

Readings are written as a CSV file beside part files and a study, and the command is run on them;
its verdict is held against what is true in that world. Beside the share that stays undecided
stands what the promised interval itself, computed without tolsim, leaves undecided.
"""

from __future__ import annotations

import contextlib
import io
import json
import tempfile
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from tests.campaigns.table import Table
from tests.campaigns.worlds import (
    BORE,
    CASES,
    CLAIM_RANGE,
    CONFIDENCE,
    TODAY,
    Case,
    World,
    exact_word,
    rate_of_units,
)
from tests.studies import machine, write
from tolsim.cli.main import run as command
from tolsim.intervals import clopper_pearson

__all__ = ["Outcome", "campaign", "outcome", "verdict_of_world"]

SEED = 20264
WORLDS = 400
_DRAWS = "65536"
_CLAIM_COST = 90.0
_SAVED_EACH = 0.05  # per ring, of which a unit has two
_UNITS = 4000
_WORDS = ("acceptable", "not acceptable", "not enough evidence")


@dataclass(frozen=True, slots=True)
class Outcome:
    """Verdicts of one case: how often each, how often wrongly, and what the promise would leave."""

    case: Case
    worlds: int
    said: dict[str, int]
    wrong_accepts: int
    wrong_rejects: int
    exact_undecided: int | None


def _price() -> float:
    """Price of the economy ring's saving at which the likeliest claims use it up, a unit."""
    extra = float(rate_of_units(-11.0, 1.8) - rate_of_units(*TODAY))
    return 0.5 * extra * CLAIM_RANGE[1] * _CLAIM_COST


def _asked(case: Case, target: float) -> str:
    if not case.money:
        return f"[targets]\nloose = {target:.8g}\nconfidence = {CONFIDENCE}\n"
    low, likely, high = CLAIM_RANGE
    return (
        f"[targets]\nconfidence = {CONFIDENCE}\n[costs]\nunits_per_year = {_UNITS}\n"
        f"creak_claim_share = {likely}\ncreak_claim_share_range = [{low}, {high}]\n"
        f"creak_claim_cost = {_CLAIM_COST}\n"
    )


def verdict_of_world(folder: Path, case: Case, world: World, seed: int) -> str:
    """The word of ``tolsim compare`` on a world written to files."""
    target = 0.0 if case.ratio is None else world.rate / case.ratio
    write(
        folder,
        bore_route=machine("diameter", *BORE),
        ring_route=machine("outside", *TODAY),
        study_more=_asked(case, target)
        + '[[alternative]]\nname = "economy"\nbearing = "bearings/e"\n',
    )
    ring = folder / "bearings" / "r.toml"
    text = ring.read_text()
    read = '[[outside.route]]\nstep = "readings"\nfile = "e.csv"\ncolumn = "outside_mm"\n'
    economy = text.replace(machine("outside", *TODAY), read + world.keys())
    if case.money:
        basis = 'basis = "assumed"\n'
        ring.write_text(text.replace(basis, f"{basis}price_each = 2.0\n"))
        economy = economy.replace(basis, f"{basis}price_each = {2.0 - _price():.8f}\n")
    (ring.parent / "e.toml").write_text(economy)
    (ring.parent / "e.csv").write_text(world.csv())
    shown = io.StringIO()
    arguments = ["--quick", "--plain", "--no-progress", "--json", "--workers", "1"]
    with contextlib.redirect_stdout(shown):
        command(["compare", str(folder), "--draws", _DRAWS, "--seed", str(seed), *arguments])
    return str(json.loads(shown.getvalue())["verdict"])


def _is_good(case: Case, world: World, rng: np.random.Generator) -> bool:
    """Whether the truth of this world is acceptable."""
    if case.ratio is not None:
        return case.ratio <= 1.0
    low, likely, high = CLAIM_RANGE
    claimed = rng.triangular(low, likely, high)
    extra = world.rate - float(rate_of_units(*TODAY))
    return 2.0 * _price() >= extra * claimed * _CLAIM_COST


def outcome(case: Case, worlds: int) -> Outcome:
    """Run one case over many worlds."""
    said = dict.fromkeys(_WORDS, 0)
    accepts = rejects = undecided = 0
    with tempfile.TemporaryDirectory() as place:
        for w in range(worlds):
            rng = np.random.default_rng([SEED, CASES.index(case), w])
            world = case.make(rng)
            good = _is_good(case, world, rng)
            word = verdict_of_world(Path(place), case, world, seed=w)
            said[word] += 1
            accepts += word == "acceptable" and not good
            rejects += word == "not acceptable" and good
            if case.ratio is not None:
                exact = exact_word(world, world.rate / case.ratio, rng)
                undecided += exact == "not enough evidence"
    return Outcome(case, worlds, said, accepts, rejects, None if case.ratio is None else undecided)


def _with_ends(k: int, n: int) -> str:
    found = clopper_pearson(k, n)
    return f"{100 * k / n:.1f} ({100 * found.low:.1f} to {100 * found.high:.1f})"


def campaign(*, reduced: bool) -> Table:
    """All cases: 400 worlds each, 40 when reduced."""
    worlds = WORLDS // 10 if reduced else WORLDS
    rows, found = [], []
    for case in CASES:
        o = outcome(case, worlds)
        found.append(o)
        rows.append(
            (
                case.name,
                "yes" if case.on_model else "no",
                f"{worlds}",
                *(f"{100 * o.said[w] / worlds:.1f}" for w in _WORDS),
                "-" if o.exact_undecided is None else f"{100 * o.exact_undecided / worlds:.1f}",
                _with_ends(o.wrong_accepts, worlds),
                _with_ends(o.wrong_rejects, worlds),
            )
        )
        print("  " + " | ".join(rows[-1]), flush=True)
    return Table(
        title="The rule of a comparison over whole worlds",
        measured="Readings of a known truth go through a CSV file and the command "
        f"(--quick, {int(_DRAWS):,} draws, {100 * CONFIDENCE:g} % confidence: "
        f"{50 * (1 - CONFIDENCE):.3g} % wrong either way is promised). Shares in per cent, with "
        "exact 95 % intervals; beside the undecided what the promised interval computed without "
        "tolsim leaves undecided on the same readings. Off the model no promise is made.",
        columns=(
            "case",
            "on the model",
            "worlds",
            "acceptable",
            "not acceptable",
            "undecided",
            "undecided by the interval alone",
            "accepted wrongly",
            "rejected wrongly",
        ),
        rows=rows,
        verdict=_summary(found),
    )


def _summary(found: list[Outcome]) -> list[str]:
    promised = 0.5 * (1.0 - CONFIDENCE)
    out = []
    for word, count in (("accepts", "wrong_accepts"), ("rejects", "wrong_rejects")):
        over = [
            o.case.name
            for o in found
            if clopper_pearson(getattr(o, count), o.worlds).low > promised
        ]
        on = [n for n in over if any(o.case.name == n and o.case.on_model for o in found)]
        off = [n for n in over if n not in on]
        out.append(
            f"Wrong {word} significantly above {100 * promised:.3g} %, on the model: "
            f"{', '.join(on) or 'none'}; off the model: {', '.join(off) or 'none'}."
        )
    clear = [o for o in found if o.case.on_model and o.case.ratio in (0.1, 0.25, 4.0)]
    decided = [1.0 - o.said["not enough evidence"] / o.worlds for o in clear]
    out.append(f"Where the truth is clear the rule decides: {100 * min(decided):.1f} % at least.")
    more = [
        o.said["not enough evidence"] / o.worlds - o.exact_undecided / o.worlds
        for o in found
        if o.case.on_model and o.exact_undecided is not None
    ]
    out.append(
        "Undecided on the model beyond what the interval alone leaves: "
        f"{100 * max(more):.1f} percentage points at most."
    )
    return out
