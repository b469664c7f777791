"""What is written, and when: whole or not at all, never over an input; errors and their codes."""

from __future__ import annotations

import os
import shutil
import stat
from pathlib import Path

import numpy as np
import pytest

from tests.studies import write
from tolsim.cli.main import run
from tolsim.cli.options import progress_on_stderr, write_text
from tolsim.errors import ExitCode, UsageError

ROOT = Path(__file__).parents[2]
ONE = ("--workers", "1")  # in this thread, where the warning of the bad number is silenced
QUICK = ("--draws", "1024", "--plain", "--no-progress")


def test_a_file_is_replaced_whole(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A failure on the way leaves the old file as it was, and nothing beside it."""
    path = tmp_path / "new folder" / "page.html"
    write_text(path, "old µ")
    assert path.read_bytes() == "old µ".encode()
    if os.name == "posix":
        assert stat.S_IMODE(path.stat().st_mode) == 0o644

    def full(fd: int) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "fsync", full)
    with pytest.raises(UsageError, match=r"cannot write page\.html: No space left on device"):
        write_text(path, "new")
    assert path.read_bytes() == "old µ".encode()
    assert [p.name for p in path.parent.iterdir()] == ["page.html"]


def test_where_nothing_can_be_written(tmp_path: Path) -> None:
    """A folder that is a file is a fault of the command line."""
    (tmp_path / "file").write_text("x")
    with pytest.raises(UsageError, match=r"cannot write page\.html"):
        write_text(tmp_path / "file" / "page.html", "new")


@pytest.mark.parametrize(
    "victim", ["study.toml", "bores/b.toml", "bores/b.csv", "link.html", "hard.html"]
)
def test_never_over_an_input(
    tmp_path: Path, victim: str, capsys: pytest.CaptureFixture[str]
) -> None:
    """No file of the study is ever written over: study, part, readings, or a link to one."""
    route = '[[diameter.route]]\nstep = "readings"\nfile = "b.csv"\ncolumn = "d_mm"\n'
    write(tmp_path, bore_route=route)
    (tmp_path / "bores" / "b.csv").write_text("d_mm\n36.978\n36.981\n36.979\n")
    (tmp_path / "link.html").symlink_to(tmp_path / "study.toml")
    os.link(tmp_path / "bores" / "b.toml", tmp_path / "hard.html")
    before = {p: p.read_bytes() for p in tmp_path.rglob("*") if p.is_file()}
    for study in (tmp_path, tmp_path / "study.toml"):
        code = run(["predict", str(study), "--html", str(tmp_path / victim), *QUICK])
        assert code == ExitCode.USAGE
        assert "is an input of this run" in capsys.readouterr().err
    assert {p: p.read_bytes() for p in tmp_path.rglob("*") if p.is_file()} == before


def test_a_number_that_is_none_leaves_with_70(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    """A margin that is no number ends the command with 70, says where, and writes nothing."""
    from tolsim.joint import seat

    monkeypatch.setattr(seat, "creep_loss", lambda d, force, w, c, r: np.log(force - 400.0))
    page = tmp_path / "page.html"
    with np.errstate(all="ignore"):
        code = run(
            ["predict", str(ROOT / "studies" / "north-seat"), "--html", str(page), *QUICK, *ONE]
        )
    told = capsys.readouterr()
    assert code == 70
    assert told.out == ""
    assert "margin ring creep" in told.err
    assert "at unit" in told.err
    assert "pedal_force = " in told.err
    assert not page.exists()


def test_an_error_of_the_program(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """What nobody foresaw leaves with 70 and one line; only a developer sees where."""
    import tolsim.spec.load

    def broken(*args: object, **kwargs: object) -> None:
        raise ZeroDivisionError("made for a test")

    monkeypatch.setattr(tolsim.spec.load, "load_study", broken)
    monkeypatch.delenv("TOLSIM_DEBUG", raising=False)
    assert run(["predict", "anything"]) == ExitCode.INTERNAL
    told = capsys.readouterr().err
    assert "internal error (ZeroDivisionError: made for a test)" in told
    assert "Traceback" not in told
    assert len(told.splitlines()) == 1
    monkeypatch.setenv("TOLSIM_DEBUG", "1")
    with pytest.raises(ZeroDivisionError):
        run(["predict", "anything"])


def test_progress(capsys: pytest.CaptureFixture[str]) -> None:
    """Progress goes to standard error, not at all when asked to be quiet, seldom in a log."""
    assert progress_on_stderr("drawing", quiet=True) is None
    tell = progress_on_stderr("drawing", quiet=False)
    assert tell is not None
    for done in range(100):
        tell(done, 100)
    told = capsys.readouterr()
    assert told.out == ""
    assert told.err == ""  # no terminal: nothing within the first 30 s


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        (["predict"], "Missing argument 'STUDY'"),
        (["predict", "x", "--draws", "0"], "0 is not in the range"),
        (["predict", "x", "--draws", "many"], "is no whole number"),
        (["predict", "x", "--seed", "-1"], "-1 is not in the range"),
        (["predict", "x", "--workers", "0"], "0 is not in the range"),
        (["predict", "x", "--time-limit", "0"], "0"),
        (["check"], "Missing argument 'PATHS...'"),
        (["schema", "moon"], "'moon' is not one of 'study', 'part'"),
        (["--nonsense"], "No such option"),
        (["parst"], "no such command: parst. Did you mean parts?"),
    ],
)
def test_usage(arguments: list[str], message: str, capsys: pytest.CaptureFixture[str]) -> None:
    """A wrong command line is told what is wrong, on standard error, with exit code 2."""
    assert run(arguments) == ExitCode.USAGE
    told = capsys.readouterr()
    assert told.out == ""
    assert message in told.err


def test_new_into_a_folder_that_holds_one_of_its_files(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """`new` writes all of its files or none."""
    assert run(["new", str(tmp_path / "a")]) == 0
    shutil.copytree(tmp_path / "a" / "bores", tmp_path / "b" / "bores")
    (tmp_path / "b" / "bores" / "our-shell.toml").unlink()
    assert run(["new", str(tmp_path / "b")]) == ExitCode.USAGE
    assert "bores/our-shell.csv already in" in capsys.readouterr().err
    assert not (tmp_path / "b" / "study.toml").exists()
