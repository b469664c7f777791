"""Shipped studies copied with some keys changed, and their margins on rows drawn by name."""

from __future__ import annotations

import json
import shutil
import tomllib
import zlib
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from tolsim.joint.assemble import assemble
from tolsim.spec.load import load_study

__all__ = ["Units", "changed", "units"]

ROOT = Path(__file__).parents[1]
#: The nominal unit first, all rows 0, then units drawn at random.
COLUMNS = 25

FloatArray = NDArray[np.float64]


def changed(folder: Path, study: str, keys: Mapping[str, Any]) -> Path:
    """A copy of a shipped study with keys set; None takes a key away.

    Keys go by role: `study.joint.removals`, `bore.roughness_rz_um`, `sleeve.thread.torque_Nm`;
    a number in the path is a place in a list, the one after its end included.
    """
    home = folder / study
    for what in ("specs", f"studies/{study}"):  # parts beside a study come before the shipped ones
        shutil.copytree(ROOT / what, home, dirs_exist_ok=True)
    documents: dict[Path, dict[str, Any]] = {}

    def document(path: Path) -> dict[str, Any]:
        return documents.setdefault(path, tomllib.loads(path.read_text()))

    for key in sorted(keys, key=lambda k: not k.startswith("study.")):
        role, *steps, last = key.split(".")
        path = home / "study.toml"
        if role != "study":
            path = home / f"{document(path)['joint'][role]}.toml"
        table: Any = document(path)
        for step in steps:
            table = table[int(step)] if step.isdigit() else table.setdefault(step, {})
        place = int(last) if last.isdigit() else last
        if keys[key] is None:
            table.pop(place)
        elif isinstance(table, list) and place == len(table):
            table.append(keys[key])
        else:
            table[place] = keys[key]
    for path, found in documents.items():
        path.write_text("".join(f"{k} = {_toml(v)}\n" for k, v in found.items()))
    return home


def _toml(value: Any) -> str:
    if isinstance(value, dict):
        return "{ " + ", ".join(f"{k} = {_toml(v)}" for k, v in value.items()) + " }"
    if isinstance(value, list):
        return "[" + ", ".join(_toml(v) for v in value) + "]"
    return json.dumps(value)  # text, numbers and truth values are written alike in both


class Units:
    """Margins of one study; rows of the same name hold the same normals in every study."""

    def __init__(self, home: Path) -> None:
        self.folder = home
        joint = assemble(load_study(home))
        self.z = {name: _normals(name) for name in joint.latent}
        (self.build,) = joint.builds
        self._out = joint.recording(np.array([self.z[name] for name in joint.latent]))

    def margin(self, cause: str, temperature: float | None = None, seat: int = 1) -> FloatArray:
        """Margin of a cause at a seat, (COLUMNS,) [mm, MPa, N, N mm or rad]."""
        (row,) = [
            self.build.first + i
            for i, m in enumerate(self.build.margins)
            if m.cause == cause and m.temperature == temperature and seat in m.seats
        ]
        return np.asarray(self._out[row])

    def all_margins(self) -> dict[tuple[str, tuple[int, ...], float | None], FloatArray]:
        """Every margin, (COLUMNS,), by cause, seats and temperature."""
        return {
            (m.cause, m.seats, m.temperature): self._out[self.build.first + i]
            for i, m in enumerate(self.build.margins)
        }


def units(folder: Path, study: str, keys: Mapping[str, Any] | None = None) -> Units:
    """Margins of a shipped study with keys set."""
    return Units(changed(folder, study, keys or {}))


def _normals(name: str) -> FloatArray:
    drawn = np.random.default_rng(zlib.crc32(name.encode())).standard_normal(COLUMNS)
    drawn[0] = 0.0
    return drawn
