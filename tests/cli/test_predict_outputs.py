"""Files that ``tolsim predict`` writes: the page and the figures, never over what it reads."""

from __future__ import annotations

from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from tolsim.cli.main import cli


@pytest.fixture
def study(tmp_path: Path) -> Path:
    """A folder with a study that runs."""
    assert CliRunner().invoke(cli, ["new", str(tmp_path / "s")]).exit_code == 0
    return tmp_path / "s"


def predict(study: Path, *options: str) -> Result:
    common = ["predict", str(study), "--draws", "2000", "--plain", "--no-progress"]
    return CliRunner().invoke(cli, [*common, *options])


def test_page_and_figures(study: Path, tmp_path: Path) -> None:
    """The page and three figures are written where they are wanted, folders made on the way."""
    result = predict(
        study,
        "--exit-zero",
        "--html",
        str(tmp_path / "a/page.html"),
        "--figures",
        str(tmp_path / "b"),
    )
    assert result.exit_code == 0, result.output
    assert (tmp_path / "a/page.html").read_text(encoding="utf-8").startswith("<!DOCTYPE html>")
    names = {path.name for path in (tmp_path / "b").iterdir()}
    assert names == {"parts.svg", "interference.svg", "misalignment.svg"}


@pytest.mark.parametrize("name", ["study.toml", "bores/our-shell.toml", "bores/our-shell.csv"])
def test_page_never_over_an_input(study: Path, name: str) -> None:
    """Study, part and readings are refused as a place for the page, and stay as they were."""
    before = (study / name).read_bytes()
    result = predict(study, "--exit-zero", "--html", str(study / name))
    assert result.exit_code != 0
    assert "is an input" in f"{result.output}{result.exception}"
    assert (study / name).read_bytes() == before
