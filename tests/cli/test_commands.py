"""The command line: exit codes, what goes where, and nothing lost."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
from pathlib import Path

import pytest
from click.testing import CliRunner

from tests.studies import machine, write
from tolsim.cli.main import COMMANDS, run
from tolsim.errors import ExitCode

ROOT = Path(__file__).parents[2]
STUDIES = ROOT / "studies"


def _tolsim(
    *arguments: str, env: dict[str, str] | None = None, cwd: Path | None = None, stdin: str = ""
) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-m", "tolsim", *arguments],
        capture_output=True,
        text=True,
        input=stdin,
        env={**os.environ, **(env or {})},
        cwd=cwd,
        check=False,
        encoding="utf-8",
    )


QUICK = ("--draws", "16384", "--plain", "--no-progress")


@pytest.mark.parametrize("name", COMMANDS)
def test_every_command_has_help(name: str, capsys: pytest.CaptureFixture[str]) -> None:
    """Each command explains itself and leaves with 0."""
    assert run([name, "--help"]) == ExitCode.MET
    assert "Usage: tolsim" in capsys.readouterr().out


def test_unknown_command(capsys: pytest.CaptureFixture[str]) -> None:
    """A mistyped command is told the nearest one, exit code 2."""
    assert run(["predikt"]) == ExitCode.USAGE
    assert "Did you mean predict?" in capsys.readouterr().err


def test_unknown_option(capsys: pytest.CaptureFixture[str]) -> None:
    """A mistyped option is told the nearest one, exit code 2."""
    assert run(["predict", "x", "--drows", "3"]) == ExitCode.USAGE
    assert "--draws" in capsys.readouterr().err


@pytest.mark.parametrize(
    ("study", "code"),
    [("steel-all-year", 0), ("summer-and-winter", 1), ("coast-first-parts", 4)],
)
def test_exit_codes(study: str, code: int, capsys: pytest.CaptureFixture[str]) -> None:
    """The verdict is the exit code, unless it is asked to be 0."""
    arguments = ["predict", str(STUDIES / study), "--draws", "131072", "--plain", "--no-progress"]
    assert run(arguments) == code
    assert run([*arguments, "--exit-zero"]) == 0
    capsys.readouterr()


def test_json_is_one_document() -> None:
    """Standard output holds JSON and nothing else, whatever stands on standard error."""
    done = _tolsim("predict", str(STUDIES / "coast-first-parts"), "--json", *QUICK)
    payload = json.loads(done.stdout)
    assert payload["schema"] == "tolsim/prediction/1"
    assert done.returncode == 4


def test_standard_input(tmp_path: Path) -> None:
    """A dash reads the study from standard input, its parts from the working folder."""
    write(tmp_path, bore_route=machine("diameter", -20, 2))
    text = (tmp_path / "study.toml").read_text()
    done = _tolsim("predict", "-", *QUICK, cwd=tmp_path, stdin=text)
    assert done.returncode == 0, done.stderr
    assert "made for a test" in done.stdout


def test_faults_leave_with_3_and_write_nothing(tmp_path: Path) -> None:
    """A faulty study prints every fault on standard error, nothing else, and writes nothing."""
    write(tmp_path)
    path = tmp_path / "study.toml"
    path.write_text(path.read_text().replace("interference_um", "interferense_um"))
    before = sorted(tmp_path.rglob("*"))
    done = _tolsim("predict", str(tmp_path), "--figures", str(tmp_path / "figures"), *QUICK)
    assert done.returncode == ExitCode.INVALID
    assert done.stdout == ""
    assert "closest  interference_um" in done.stderr
    assert "1 problem in " in done.stderr
    assert "Traceback" not in done.stderr
    assert sorted(tmp_path.rglob("*")) == before


def test_missing_file() -> None:
    """A study that does not exist is a diagnosis, not a traceback."""
    done = _tolsim("predict", "nowhere/study.toml")
    assert done.returncode == ExitCode.INVALID
    assert "cannot be read" in done.stderr


def test_check(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    """Good files are named as good; faults come as text or JSON with exit code 3."""
    assert run(["check", str(STUDIES / "three-shops")]) == 0
    assert "no fault found in" in capsys.readouterr().out
    assert run(["check", str(ROOT / "specs" / "bores" / "north-reamed.toml")]) == 0
    capsys.readouterr()
    write(tmp_path)
    (tmp_path / "study.toml").write_text("title = 3\n")
    assert run(["check", str(tmp_path), "--json"]) == ExitCode.INVALID
    problems = json.loads(capsys.readouterr().out)["problems"]
    assert {p["key"] for p in problems} >= {"title", "joint", "limits"}


def test_new_runs_as_it_stands(tmp_path: Path) -> None:
    """What `new` writes runs and is met; it never overwrites."""
    folder = tmp_path / "with a space"
    assert _tolsim("new", str(folder)).returncode == 0
    assert _tolsim("predict", str(folder), "--plain", "--no-progress").returncode == 0
    again = _tolsim("new", str(folder))
    assert again.returncode == ExitCode.USAGE
    assert "already in" in again.stderr


def test_parts_and_schema(capsys: pytest.CaptureFixture[str]) -> None:
    """Parts are listed with their basis; schemas are JSON Schema."""
    assert run(["parts", "--json"]) == 0
    names = {p["name"] for p in json.loads(capsys.readouterr().out)["parts"]}
    assert {"bores/north-reamed", "bearings/25x37x7-good"} <= names
    for what in ("study", "part"):
        assert run(["schema", what]) == 0
        schema = json.loads(capsys.readouterr().out)
        assert schema["$schema"].endswith("2020-12/schema")
    text = json.dumps(schema)
    for part in ("Bore", "Bearing", "Sleeve", "Adhesive"):
        assert f'"#/$defs/{part}"' in text


@pytest.mark.parametrize("shell", ["bash", "zsh", "fish"])
def test_completion(shell: str, capsys: pytest.CaptureFixture[str]) -> None:
    """Each shell gets its script."""
    assert run(["completion", shell]) == 0
    assert "_TOLSIM_COMPLETE" in capsys.readouterr().out


def test_poor_surroundings(tmp_path: Path) -> None:
    """No home to write to, no language, no terminal, another folder: it still answers."""
    env = {"HOME": "/nonexistent", "LANG": "C", "LC_ALL": "C", "TERM": "dumb", "NO_COLOR": "1"}
    done = _tolsim("predict", str(STUDIES / "steel-all-year"), *QUICK, env=env, cwd=tmp_path)
    assert done.returncode in (0, 4), done.stderr
    assert "\x1b" not in done.stdout
    done = _tolsim("limits", "37", "P7", env=env, cwd=tmp_path)
    assert done.returncode == 0, done.stderr


def test_hash_seed_changes_nothing() -> None:
    """The bytes do not depend on Python's own hash seed."""
    outs = {
        _tolsim(
            "predict",
            str(STUDIES / "three-shops"),
            "--json",
            *QUICK,
            env={"PYTHONHASHSEED": seed},
        ).stdout
        for seed in ("0", "1")
    }
    assert len(outs) == 1


def test_a_reader_that_leaves() -> None:
    """Output into a pipe that closes early ends quietly."""
    command = f"{sys.executable} -m tolsim predict {STUDIES / 'steel-all-year'} {' '.join(QUICK)}"
    done = subprocess.run(
        f"{command} | head -1", shell=True, capture_output=True, text=True, check=False
    )
    assert "Traceback" not in done.stderr
    assert "Broken" not in done.stderr


@pytest.mark.skipif(os.name != "posix", reason="not a POSIX system")
def test_ctrl_c() -> None:
    """Ctrl-C ends a long run with 130 and says what was done."""
    ours, theirs = os.openpty()
    child = subprocess.Popen(
        [sys.executable, "-m", "tolsim", "predict", str(STUDIES / "north-seat")]
        + ["--draws", "1000000000"],
        stdout=subprocess.PIPE,
        stderr=theirs,
        text=True,
        # a shell's background jobs ignore the signal, and so would their children
        preexec_fn=lambda: signal.signal(signal.SIGINT, signal.default_int_handler),
    )
    os.close(theirs)
    err = ""
    while "drawing units" not in err:
        err += os.read(ours, 4096).decode()
    child.send_signal(signal.SIGINT)
    out, _ = child.communicate(timeout=30)
    while "stopped after" not in err:
        err += os.read(ours, 4096).decode()
    os.close(ours)
    assert child.returncode == ExitCode.INTERRUPTED
    assert out == ""


def _peak(draws: int) -> float:
    """Peak resident memory [MB] of a plain run above that of its imports.

    A process inherits the peak that `getrusage` tells from the one that started it.
    """
    script = (
        "import re\n"
        "from tolsim.spec.load import load_study\n"
        "from tolsim.answers.predict import predict\n"
        "def peak():\n"
        "    status = open('/proc/self/status').read()\n"
        "    return int(re.search(r'VmHWM:\\s*(\\d+)', status)[1]) / 1024\n"
        f"study = load_study({str(STUDIES / 'north-seat')!r})\n"
        "before = peak()\n"
        f"predict(study, draws={draws}, workers=2, plain=True, glance=False)\n"
        "print(peak() - before)\n"
    )
    done = subprocess.run(
        [sys.executable, "-c", script], capture_output=True, text=True, check=True
    )
    return float(done.stdout)


@pytest.mark.skipif(sys.platform != "linux", reason="the peak of memory as Linux reports it")
def test_memory_is_flat() -> None:
    """Forty times the units take no more than a few MB more, and stay below 64 MB."""
    few, many = _peak(100_000), _peak(4_000_000)
    assert few > 0.0
    assert many < 64.0
    assert many - few < 12.0


@pytest.mark.slow
@pytest.mark.skipif(sys.platform != "linux", reason="the peak of memory as Linux reports it")
def test_memory_is_flat_to_a_hundred_million() -> None:
    """A thousand times the units take no more than a few MB more, and stay below 64 MB."""
    few, many = _peak(100_000), _peak(100_000_000)
    assert many < 64.0
    assert many - few < 12.0


def test_never_over_an_input(tmp_path: Path) -> None:
    """An output that would replace an input is refused."""
    from tolsim.cli.options import write_text
    from tolsim.errors import UsageError

    path = tmp_path / "a.toml"
    path.write_text("x")
    with pytest.raises(UsageError, match="is an input"):
        write_text(path, "y", inputs=(path,))
    assert path.read_text() == "x"


def test_click_runner_agrees() -> None:
    """The group works under click's own runner too."""
    from tolsim.cli.main import cli

    result = CliRunner().invoke(cli, ["--version"])
    assert result.exit_code == 0
    assert result.output.startswith("tolsim, version ")
