"""One number of a shipped study replaced by an odd one: an answer or a diagnosis, no more."""

from __future__ import annotations

import json
import math
import random
import shutil
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
import tomli

from tolsim.answers.predict import predict
from tolsim.errors import SpecError
from tolsim.report.payload import prediction_payload
from tolsim.report.text import prediction_text
from tolsim.spec.load import load_study

ROOT = Path(__file__).parents[2]
FACTORS = (-1, 0, 1e-9, 0.03, 0.3, 0.5, 1.5, 3, 30, 1000)
ODD: tuple[Any, ...] = (
    0,
    -1,
    1e-12,
    1e12,
    1e300,
    10**400,
    math.nan,
    math.inf,
    True,
    "",
    "x",
    [],
    {},
    [0, 0],
)
CASES = 6  # a study


def _toml(value: Any) -> str:
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        return json.dumps(value)
    if isinstance(value, list):
        return f"[{', '.join(map(_toml, value))}]"
    if isinstance(value, dict):
        return "{" + ", ".join(f"{json.dumps(k)} = {_toml(v)}" for k, v in value.items()) + "}"
    return repr(value)


def _numbers(node: Any, path: tuple[Any, ...] = ()) -> Iterator[tuple[Any, ...]]:
    if isinstance(node, dict | list):
        for key, value in node.items() if isinstance(node, dict) else enumerate(node):
            yield from _numbers(value, (*path, key))
    elif isinstance(node, int | float) and not isinstance(node, bool):
        yield path


def _replace(file: Path, choose: random.Random) -> None:
    document = tomli.loads(file.read_text())
    path = choose.choice(sorted(_numbers(document), key=str))
    node: Any = document
    for key in path[:-1]:
        node = node[key]
    scaled = choose.random() < 0.7
    node[path[-1]] = node[path[-1]] * choose.choice(FACTORS) if scaled else choose.choice(ODD)
    file.write_text("".join(f"{json.dumps(k)} = {_toml(v)}\n" for k, v in document.items()))


@pytest.mark.parametrize("name", sorted(p.parent.name for p in ROOT.glob("studies/*/study.toml")))
def test_an_answer_or_a_diagnosis(tmp_path: Path, name: str) -> None:
    """Whatever number stands in a file, the run ends in a finite page or in named faults."""
    choose = random.Random(name)
    for case in range(CASES):
        folder = tmp_path / str(case)
        shutil.copytree(ROOT / "studies" / name, folder)
        for kind in ("bores", "bearings", "sleeves", "adhesives"):
            shutil.copytree(ROOT / "specs" / kind, folder / kind, dirs_exist_ok=True)
        study = tomli.loads((folder / "study.toml").read_text())
        roles = ("bore", "bearing", "sleeve", "adhesive")
        parts = [folder / f"{study['joint'][r]}.toml" for r in roles if r in study["joint"]]
        _replace(choose.choice([folder / "study.toml", *parts]), choose)
        told: list[object] = []
        try:
            found = predict(load_study(folder), draws=2048, workers=1, plain=True, glance=False)
        except SpecError as e:
            told += [p for p in e.problems if p.message]
        else:
            payload = prediction_payload(found)
            json.dumps(payload, allow_nan=False)
            told.append(prediction_text(payload))
        assert told
