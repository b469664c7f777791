"""Sixteen alternatives on common draws against one, half of them of another kind or material."""

from __future__ import annotations

import tempfile
from pathlib import Path

from tests.benchmarks.row import Row, best, cpu_seconds
from tolsim.answers.compare import DEFAULT_DRAWS, compare
from tolsim.answers.compare_draws import draw_together
from tolsim.answers.tally import EVENTS
from tolsim.joint.assemble import assemble_together
from tolsim.joint.model import Joint
from tolsim.spec.load import Study, load_study

_HEAD = """\
title = "many alternatives"
[joint]
kind    = "pressed"
bore    = "bores/any-reamed"
bearing = "bearings/25x37x7-good"
age_at_assembly_h = 90
[service]
temperature_C = [10, 20, 30]
pedal_force_N = { shape = "lognormal", mean = 350, sd = 40 }
overhang_mm   = 60
[limits]
loose      = { interference_um = 0, separation = true, creep = true }
tight      = { clearance_um = -2, hoop_stress_share = 1.0, press_force_N = 6000 }
misaligned = { angle_deg = 0.1, offset_um = 120, bearing_tilt_arcmin = 6, free_tilt = true }
bond       = { gap_um = [20, 180], peel = true, shear = true, safety = 1.5 }
[targets]
creak = 0.02
tight = 0.01
"""
_SLEEVED = 'kind = "sleeved"\nbore = "bores/any-bored-large"\n'
_BONDED = 'kind = "bonded"\nbore = "bores/any-moulded-large"\nadhesive = "adhesives/cold-epoxy"\n'
_THREADED = 'kind = "threaded"\nbore = "bores/any-threaded-faced"\n'
_MAKES = ("25x37x7-good", "25x37x7-normal", "25x37x7-economy")
#: Of another kind or material: eight.
_OTHER = (
    _SLEEVED + 'sleeve = "sleeves/any-turned"\n',
    _SLEEVED + 'sleeve = "sleeves/any-one-piece"\n',
    _SLEEVED + f'sleeve = "sleeves/any-turned"\nbearing = "bearings/{_MAKES[2]}"\n',
    _BONDED + 'sleeve = "sleeves/any-bored-after-bonding"\n',
    _BONDED + f'sleeve = "sleeves/any-bored-after-bonding"\nbearing = "bearings/{_MAKES[1]}"\n',
    _THREADED + 'sleeve = "sleeves/any-threaded-faced"\n',
    _THREADED + f'sleeve = "sleeves/any-threaded-faced"\nbearing = "bearings/{_MAKES[2]}"\n',
    'bore = "bores/steel-reamed"\n',
)
#: Of the same kind and material: eight.
_ALIKE = (
    f'bearing = "bearings/{_MAKES[1]}"\n',
    f'bearing = "bearings/{_MAKES[2]}"\n',
    *(
        f'bore = "bores/{bore}"\nbearing = "bearings/{make}"\n'
        for bore in ("any-turned", "ridge-turned")
        for make in _MAKES
    ),
)


def _study(folder: Path, changes: tuple[str, ...]) -> Study:
    text = _HEAD
    for k, change in enumerate(changes):
        text += f'[[alternative]]\nname = "number {k + 1}"\n{change}'
    (folder / "study.toml").write_text(text)
    return load_study(folder)


def rows() -> list[Row]:
    """Ratios of one run: counting alone, and the whole comparison without what would decide."""
    with tempfile.TemporaryDirectory() as place:
        one = _study(Path(place), _ALIKE[:1])
        many = _study(Path(place), (*_OTHER, *_ALIKE))
    others = list(many.alternatives.values())
    alone, together = [assemble_together([s]) for s in others], assemble_together(others)

    def count(joints: tuple[Joint, ...]) -> object:
        return draw_together(joints, seed=1, n=DEFAULT_DRAWS, workers=1, events=EVENTS)

    def whole(study: Study) -> object:
        return compare([study], draws=DEFAULT_DRAWS, workers=1, plain=True, deep=False)

    apart, sixteen, first, all_of_them = best(
        lambda: [count(joints) for joints in alone],
        lambda: count(together),
        lambda: whole(one),
        lambda: whole(many),
        repeats=2,
        clock=cpu_seconds,
    )
    note = f"{DEFAULT_DRAWS:.1e} units, 3 temperatures; 8 of another kind or material"
    return [
        Row.at_most(
            "16 joints drawn and counted together / one of them, on average",
            7.0,
            sixteen / (apart / len(alone)),
            f"{note}; {sixteen:.2f} s of CPU against {apart:.2f} s one after the other",
        ),
        Row.at_most(
            "compare --quick --plain with 16 alternatives / with one",
            7.0,
            all_of_them / first,
            f"{note}; {all_of_them:.1f} s of CPU against {first:.2f} s",
        ),
    ]
