"""Payloads of small studies for the tests of the writers; all numbers are invented."""

from __future__ import annotations

import copy
import json
import tempfile
from functools import cache
from pathlib import Path
from typing import Any

from tolsim.answers.predict import predict
from tolsim.report.figures import prediction_pictures
from tolsim.report.figures_style import Picture
from tolsim.report.html import prediction_html
from tolsim.report.payload import prediction_payload
from tolsim.spec.load import load_study

DRAWS = 2**14
HOSTILE = "<b>bold</b> & $x^2$ \\alpha {{ 7 * 7 }} 'quoted' \"twice\" and a very long name"

_BASE = """
[joint]
kind = "pressed"
bore = "bores/{bore}"
bearing = "bearings/{bearing}"
age_at_assembly_h = 90
"""
_SHOPS = """
[[supply]]
name = "North"
share = 0.5
bore = "bores/north-reamed"
[[supply]]
name = "Coast"
share = 0.3
bore = "bores/coast-bored"
[[supply]]
name = "Ridge"
share = 0.2
bore = "bores/ridge-turned"
"""
_LOAD = """
[service]
temperature_C = [{temperatures}]
pedal_force_N = {{ shape = "lognormal", mean = {force}, sd = 40 }}
overhang_mm = 60
"""
_LIMITS = """
[limits]
loose = { interference_um = 0, separation = true, creep = true }
tight = { clearance_um = -2, hoop_stress_share = 1.0, press_force_N = 6000 }
misaligned = { angle_deg = 0.1, offset_um = 100, bearing_tilt_arcmin = 6, free_tilt = true }
[targets]
creak = 0.002
tight = 0.002
"""
_GENEROUS = """
[limits]
loose = { interference_um = -10 }
tight = { clearance_um = -40 }
misaligned = { angle_deg = 0.5, offset_um = 600, bearing_tilt_arcmin = 60 }
[targets]
creak = 0.01
"""
_STRICT = """
[limits]
loose = { interference_um = 5, separation = true, creep = true }
tight = { clearance_um = 12, press_force_N = 1500 }
misaligned = { angle_deg = 0.02, offset_um = 20, bearing_tilt_arcmin = 1 }
[targets]
creak = 0.01
"""
STUDIES = {
    "one shop": _BASE.format(bore="steel-reamed", bearing="25x37x7-good")
    + _LOAD.format(temperatures="20", force=350)
    + _LIMITS,
    "three shops": _BASE.format(bore="north-reamed", bearing="25x37x7-good")
    + _SHOPS
    + _LOAD.format(temperatures="-10, 20, 45", force=350)
    + _LIMITS,
    "none fails": _BASE.format(bore="steel-reamed", bearing="25x37x7-good")
    + _LOAD.format(temperatures="20", force=350)
    + _GENEROUS,
    "most fail": _BASE.format(bore="coast-bored", bearing="25x37x7-economy")
    + _LOAD.format(temperatures="-25, 70", force=900)
    + _STRICT,
    "tight only": _BASE.format(bore="steel-reamed", bearing="25x37x7-good")
    + "[limits]\ntight = { clearance_um = 8 }\n",
}


@cache
def _made(name: str, detail: bool) -> str:
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "study.toml"
        path.write_text(f'title = "A study: {name}"\n{STUDIES[name]}', encoding="utf-8")
        prediction = predict(load_study(path), draws=DRAWS, detail=detail, plain=True)
    return json.dumps(prediction_payload(prediction))


def payload(name: str, *, detail: bool = True) -> dict[str, Any]:
    """A fresh payload of one of `STUDIES`, from counts alone."""
    made: dict[str, Any] = json.loads(_made(name, detail))
    return made


def many(count: int) -> dict[str, Any]:
    """The payload of three shops, its supplies repeated under other names `count` times."""
    p = payload("three shops")
    names = [f"Shop {k:02d} of a long coast" for k in range(count)]
    p["supply"] = [
        {**copy.deepcopy(p["supply"][k % 3]), "name": name, "share": 1.0 / count}
        for k, name in enumerate(names)
    ]
    parts = p["pictures"]["parts"]
    bores = [q for q in parts if q["feature"] == "bore.diameter"]
    p["pictures"]["parts"] = [
        {**bores[k % len(bores)], "part": f"bores/shop-{k}", "supplies": [name]}
        for k, name in enumerate(names)
    ] + [{**q, "supplies": names} for q in parts if q["feature"] != "bore.diameter"]
    for s in p["pictures"]["interference"]["seats"]:
        s["builds"] = [{**s["builds"][k % 3], "build": name} for k, name in enumerate(names)]
    for s in p["seats"]:
        s["interference"] = [
            {**s["interference"][k % 3], "build": name} for k, name in enumerate(names)
        ]
    return p


def hostile() -> dict[str, Any]:
    """The payload of three shops with words from files that mean harm."""
    p = payload("three shops")
    p["study"]["title"] = HOSTILE
    for supply, name in zip(
        p["supply"], (HOSTILE, "\u202eleft\x1b[31m", "鉄工所 東海岸"), strict=True
    ):
        old, supply["name"] = supply["name"], name
        for q in p["pictures"]["parts"]:
            q["supplies"] = [name if s == old else s for s in q["supplies"]]
        for holder in (*p["seats"], *p["pictures"]["interference"]["seats"]):
            for b in holder.get("builds", holder.get("interference", [])):
                b["build"] = name if b["build"] == old else b["build"]
    for s in (*p["seats"], *p["pictures"]["interference"]["seats"]):
        s["name"] = f"{s['seat']} {HOSTILE}"
    for q in p["pictures"]["parts"]:
        q["part"] = f"bores/{HOSTILE}"
    for b in p["study"]["basis"]:
        b["title"] = HOSTILE
    p["warnings"] = [HOSTILE]
    return p


#: Payloads that every writer must cope with.
EVERY = ("one shop", "three shops", "none fails", "most fail", "tight only", "many", "hostile")


def made(name: str) -> dict[str, Any]:
    """A fresh payload by its name in `EVERY`."""
    if name == "many":
        return many(50)
    return hostile() if name == "hostile" else payload(name)


@cache
def pictures(name: str, *, alone: bool = True) -> dict[str, Picture]:
    """The figures of one of `EVERY` by their names, drawn once."""
    return {f.name: f for f in prediction_pictures(made(name), alone=alone)}


@cache
def page(name: str) -> str:
    """The page of one of `EVERY`, written once."""
    return prediction_html(made(name))
