"""The house's one direction: a floor imports the floors below it, never one above or beside it."""

from __future__ import annotations

import ast
import subprocess
import sys
from pathlib import Path

import pytest

PACKAGE = Path(__file__).parents[1] / "tolsim"

FLOORS = {
    "errors": 0,
    "units": 0,
    "intervals": 0,
    "record": 0,
    "standards": 1,
    "mechanics": 1,
    "process": 1,
    "chance": 1,
    "spec": 2,
    "joint": 3,
    "answers": 4,
    "report": 5,
    "cli": 6,
    "__main__": 7,
}


def _room(path: Path) -> str:
    return path.relative_to(PACKAGE).parts[0].removesuffix(".py")


def _imports(path: Path) -> list[tuple[int, str]]:
    """(line, room) of every import of the package, inside functions too."""
    found: list[tuple[int, str]] = []
    for node in ast.walk(ast.parse(path.read_text())):
        names: list[str] = []
        if not isinstance(node, ast.Import | ast.ImportFrom):
            continue
        if isinstance(node, ast.Import):
            names = [a.name for a in node.names]
        elif isinstance(node, ast.ImportFrom) and node.module and node.level == 0:
            names = [node.module]
            if node.module == "tolsim":
                names = [f"tolsim.{a.name}" for a in node.names]
        elif isinstance(node, ast.ImportFrom) and node.level:
            pytest.fail(f"{path}:{node.lineno}: relative import")
        found += [(node.lineno, n.split(".")[1]) for n in names if n.startswith("tolsim.")]
    return found


def test_every_arrow_points_down() -> None:
    """No module imports a floor above its own, or another room of its own floor."""
    wrong: list[str] = []
    for path in sorted(PACKAGE.rglob("*.py")):
        room = _room(path)
        if room == "__init__":
            continue
        for line, other in _imports(path):
            if other in ("__version__", room):
                continue
            same_ground = FLOORS[room] == FLOORS[other] == 0
            if FLOORS[other] > FLOORS[room] or (FLOORS[other] == FLOORS[room] and not same_ground):
                wrong.append(f"{path.relative_to(PACKAGE)}:{line}: {room} imports {other}")
    assert not wrong, "\n".join(wrong)


def test_rooms_are_known() -> None:
    """Every module of the package stands on a floor that the test knows."""
    rooms = {_room(p) for p in PACKAGE.rglob("*.py")} - {"__init__"}
    assert rooms <= set(FLOORS)


def _loaded(code: str, *names: str) -> set[str]:
    """Which of `names` a fresh interpreter has loaded after `code`."""
    script = f"import sys\n{code}\nprint('loaded', *(n for n in {names!r} if n in sys.modules))"
    done = subprocess.run(
        [sys.executable, "-c", script], capture_output=True, text=True, check=False
    )
    assert done.returncode == 0, done.stderr
    return set(done.stdout.splitlines()[-1].split()[1:])


HEAVY = ("scipy", "pandas", "matplotlib")


@pytest.mark.parametrize("arguments", [["--help"], ["--version"], ["completion", "bash"]])
def test_help_is_light(arguments: list[str]) -> None:
    """Help, version and completion load neither numpy nor anything heavier."""
    code = f"from tolsim.cli.main import run\nassert run({arguments!r}) == 0"
    assert _loaded(code, "numpy", *HEAVY) == set()


def test_check_is_light() -> None:
    """Checking a study with readings loads neither scipy nor pandas nor matplotlib."""
    study = str(PACKAGE.parent / "studies" / "north-seat")
    code = f"from tolsim.cli.main import run\nassert run(['check', {study!r}]) == 0"
    assert _loaded(code, *HEAVY) == set()


def test_predict_stays_off_the_heavy_modules() -> None:
    """A prediction without figures loads neither scipy.stats nor pandas nor matplotlib."""
    study = str(PACKAGE.parent / "studies" / "north-seat")
    arguments = ["predict", study, "--draws", "8192", "--plain"]
    code = f"from tolsim.cli.main import run\nassert run({arguments!r}) in (0, 1, 4)"
    assert _loaded(code, "scipy.stats", "pandas", "matplotlib") == set()
