"""What is built can be used: wheel, source archive and checkout all find their specifications."""

from __future__ import annotations

import json
import os
import subprocess
import sys
import tarfile
import zipfile
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]
SPECS = ROOT / "specs"


def _run(*command: str, cwd: Path, path: Path | None = None) -> str:
    env = {k: v for k, v in os.environ.items() if k != "PYTHONPATH"}
    if path is not None:
        env["PYTHONPATH"] = str(path)
    done = subprocess.run(command, cwd=cwd, env=env, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stdout + done.stderr
    return done.stdout


def _names(cwd: Path, path: Path) -> set[str]:
    """Parts that tolsim lists when it is imported from `path`, in an unrelated folder."""
    where = _run(sys.executable, "-c", "import tolsim; print(tolsim.__file__)", cwd=cwd, path=path)
    assert Path(where.strip()).is_relative_to(path)
    told = _run(sys.executable, "-m", "tolsim", "parts", "--json", cwd=cwd, path=path)
    return {p["name"] for p in json.loads(told)["parts"]}


def _shipped() -> set[str]:
    return {p.relative_to(SPECS).with_suffix("").as_posix() for p in SPECS.glob("*/*.toml")}


def _study(folder: Path) -> Path:
    """A study outside the checkout that names parts and readings of specs/ only."""
    folder.mkdir(parents=True)
    text = (ROOT / "studies" / "coast-first-parts" / "study.toml").read_text()
    (folder / "study.toml").write_text(text)
    return folder


@pytest.fixture(scope="module")
def built(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with the source archive, and the wheel that was built from it."""
    out = tmp_path_factory.mktemp("dist")
    _run(sys.executable, "-m", "build", "--no-isolation", "--outdir", str(out), str(ROOT), cwd=out)
    return out


def test_checkout_from_any_folder(tmp_path: Path) -> None:
    """A checkout finds its specifications from a folder that has nothing to do with it."""
    assert _names(tmp_path, ROOT) >= _shipped()


@pytest.mark.slow
def test_wheel(built: Path, tmp_path: Path) -> None:
    """The wheel holds specs, tables, templates and the mark of types, and runs a study."""
    (wheel,) = built.glob("*.whl")
    site = tmp_path / "site"
    with zipfile.ZipFile(wheel) as archive:
        archive.extractall(site)
        names = set(archive.namelist())
    held = {n.removeprefix("tolsim/_specs/") for n in names if n.startswith("tolsim/_specs/")}
    # every file that belongs to the package is in it, and nothing of the tests
    assert held == {
        p.relative_to(SPECS).as_posix()
        for p in SPECS.rglob("*")
        if p.is_file() and p.name[0] != "."
    }
    package = {
        p.relative_to(ROOT).as_posix()
        for p in (ROOT / "tolsim").rglob("*")
        if p.is_file() and "__pycache__" not in p.parts
    }
    assert package <= names
    assert "tolsim/py.typed" in names
    assert not any(n.startswith(("tests/", "studies/", "specs/")) for n in names)
    assert any(n.endswith("entry_points.txt") for n in names)
    folder = tmp_path / "elsewhere"
    _study(folder / "study")
    assert _names(folder, site) >= _shipped()
    told = _run(
        *(sys.executable, "-m", "tolsim", "predict", "study", "--json", "--exit-zero"),
        *("--draws", "8192", "--plain", "--no-progress"),
        cwd=folder,
        path=site,
    )
    inputs = {i["name"] for i in json.loads(told)["provenance"]["inputs"]}
    assert "bores/coast-first-12.csv" in inputs
    _run(sys.executable, "-m", "tolsim", "new", "mine", cwd=folder, path=site)
    _run(sys.executable, "-m", "tolsim", "check", "mine", cwd=folder, path=site)


@pytest.mark.slow
def test_source_archive(built: Path, tmp_path: Path) -> None:
    """The source archive holds what a checkout holds, and runs unpacked."""
    (archive,) = built.glob("*.tar.gz")
    with tarfile.open(archive) as tar:
        tar.extractall(tmp_path, filter="data")
    (root,) = tmp_path.glob("tolsim-*")
    for name in ("README.md", "LICENSE", "pyproject.toml", "tests/test_package.py", "studies"):
        assert (root / name).exists(), name
    folder = tmp_path / "elsewhere"
    _study(folder / "study")
    assert _names(folder, root) >= _shipped()
    _run(sys.executable, "-m", "tolsim", "check", "study", cwd=folder, path=root)
