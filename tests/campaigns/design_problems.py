"""Planted problems of design: bands are drawn, their rates measured, targets set just above."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from tolsim.answers.costs import cost_model
from tolsim.answers.design_cases import Case, problem_of
from tolsim.answers.tally import tally
from tolsim.joint.assemble import assemble
from tolsim.spec.load import Study, load_study

__all__ = ["Planted", "feature", "measured", "planted", "study_of", "unreachable"]

FloatArray = NDArray[np.float64]
STUDIES = Path(__file__).parents[2] / "studies"
MODES = ("creak", "tight")
#: Sizes and zones that may be free, by study: path, ends of middle and width, weight of the cost.
Free = tuple[str, tuple[float, float] | None, tuple[float, float], float]
_BORE: Free = ("bore.diameter", (-45, 10), (6, 60), 12.0)
_RING: Free = ("bearing.outside", (-12, 2), (4, 20), 6.0)
_OFFSET: Free = ("bore.alignment.offset", None, (20, 300), 60.0)
_TILT: Free = ("bore.alignment.tilt", None, (0.02, 0.4), 0.06)
_INSIDE: Free = ("sleeve.inside", (-35, 0), (5, 40), 10.0)
_OUTSIDE: Free = ("sleeve.outside", (-20, 20), (5, 40), 8.0)
SIZES: dict[str, tuple[Free, ...]] = {
    "north-seat": (_BORE, _RING, _OFFSET, _TILT),
    "sleeved-alloy": (_INSIDE, _RING, _BORE, _TILT, _OFFSET, _OUTSIDE),
    "bonded-carbon": (_INSIDE, _RING, _TILT),
}


@dataclass(frozen=True, kw_only=True, slots=True)
class Planted:
    """A problem with a known answer: bands that meet its targets, and what they cost."""

    name: str
    study: Study
    theta: FloatArray
    cost: float
    rates: Mapping[str, float]


def feature(free: Free, *, follows: str = "process") -> str:
    """A freedom as TOML."""
    path, centre, width, weight = free
    angle = path.endswith("tilt")
    lines = ["[[choose]]", f'feature = "{path}"', f'follows = "{follows}"']
    if centre is not None:
        lines.append(f"centre_um = [{centre[0]}, {centre[1]}]")
    lines.append(f"width_{'deg' if angle else 'um'} = [{width[0]}, {width[1]}]")
    lines += ['capability_basis = "planted"', f"cost = {{ per_width = {weight} }}"]
    return "\n".join(lines) + "\n"


def study_of(folder: Path, base: str, targets: Mapping[str, float], choose: str) -> Study:
    """A shipped study with other targets, freedoms and costs."""
    text = (STUDIES / base / "study.toml").read_text()
    kept: list[str] = []
    skip = False
    for line in text.splitlines():
        if line.startswith("["):
            skip = line.strip() in ("[targets]", "[costs]", "[[choose]]")
        if not skip:
            kept.append(line)
    goals = "\n".join(f"{m} = {t!r}" for m, t in targets.items())
    costs = '[costs]\ncurrency = "EUR"\ncreak_claim_share = 0.15\ncreak_claim_cost = 55\n'
    folder.mkdir(parents=True, exist_ok=True)
    body = "\n".join(kept)
    (folder / "study.toml").write_text(f"{body}\n[targets]\n{goals}\n{costs}{choose}")
    return load_study(folder)


def measured(study: Study, *, units: int, seed: int) -> dict[str, float]:
    """Rates of the modes that have a target, counted."""
    counted = tally(assemble(study), seed=seed, n=units, workers=2)
    return {m: counted.mix[m, 0][0] for m in MODES}


def _drawn(case: Case, rng: np.random.Generator) -> FloatArray:
    """Bands on the drawing grid, anywhere within their ranges."""
    theta = np.zeros(len(case.bounds()))
    bounds = case.bounds()
    for f, (c, w) in zip(case.freedoms, case.places(), strict=True):
        assert w is not None
        low, high = bounds[w]
        width = round((low + rng.random() * (high - low)) / f.grid) * f.grid
        theta[w] = width = float(np.clip(width, low, high))
        if c is not None:
            ends = bounds[c]
            lower = ends[0] + rng.random() * (ends[1] - ends[0]) - 0.5 * width
            theta[c] = float(
                np.clip(round(lower / f.grid) * f.grid + 0.5 * width, ends[0], ends[1])
            )
    return theta


def planted(folder: Path, number: int, *, units: int, seed: int = 20_263) -> Planted:
    """The problem of a number: its study, freedoms and bands follow from it.

    Bands are drawn until creak lies between 3e-4 and 5 % and tight between 1e-4 and 5 %, so that
    both targets mean something and `units` can tell the rates; a target is at least 1.02e-4.
    """
    rng = np.random.default_rng([seed, number])
    base = list(SIZES)[number % len(SIZES)]
    free = SIZES[base]
    count = 1 + int(rng.integers(len(free)))
    chosen = [free[i] for i in sorted(rng.choice(len(free), count, replace=False))]
    choose = "".join(feature(f) for f in chosen)
    folder = folder / f"planted-{number}"
    open_study = study_of(folder, base, dict.fromkeys(MODES, 0.5), choose)
    (case,) = problem_of(open_study).cases
    for attempt in range(400):
        theta = _drawn(case, rng)
        look = measured(case.variant(theta), units=2**14, seed=seed)
        # some freedoms leave no bands whose units are both tight and creaky: tight is let go then
        tight = 1e-4 <= look["tight"] <= 0.05 or attempt >= 200
        if tight and 3e-4 <= look["creak"] <= (0.05 if attempt < 200 else 0.3):
            break
    rates = measured(case.variant(theta), units=units, seed=seed + 1)
    targets = {m: 1.02 * max(r, 1e-4) for m, r in rates.items()}
    study = study_of(folder, base, targets, choose)
    (case,) = problem_of(study).cases
    cost = cost_model(case).of(theta, rates).total
    paths = ", ".join(f.path for f in case.freedoms)
    return Planted(name=f"{base}: {paths}", study=study, theta=theta, cost=cost, rates=rates)


def unreachable(folder: Path, number: int) -> tuple[Study, str, str, dict[str, float]]:
    """A study whose processes are too wide to come far: (study, base, freedoms, targets)."""
    bore: Free = ("bore.diameter", (-45, 10), (18 + 2 * number, 60), 12.0)
    inside: Free = ("sleeve.inside", (-35, 0), (14 + 2 * number, 40), 10.0)
    ring: Free = ("bearing.outside", (-12, 2), (8, 20), 6.0)
    bases: tuple[tuple[str, tuple[Free, ...]], ...] = (
        ("north-seat", (bore,)),
        ("sleeved-alloy", (inside, ring)),
        ("north-seat", (bore, ring)),
        ("bonded-carbon", (inside,)),
        ("sleeved-alloy", (inside, ring, _BORE)),
    )
    base, free = bases[number]
    choose = "".join(feature(f) for f in free)
    targets = {"creak": 1e-3, "tight": 0.02}
    return study_of(folder / f"unreachable-{number}", base, targets, choose), base, choose, targets
