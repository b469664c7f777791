"""Units per second of a prediction, from the counting alone to the whole command.

Drawing alone fills the rows that the joint reads, block by block, with numpy's SFC64 on one
thread, set-up of the streams included. The whole command is what a user waits for: start of
Python, imports, reading, one million units counted, the page.
"""

from __future__ import annotations

import subprocess
import sys
from functools import partial
from pathlib import Path

import numpy as np

from tests.benchmarks.row import Row, best, cpu_seconds
from tolsim.answers.tally import tally
from tolsim.chance.streams import BLOCK, Streams
from tolsim.joint.assemble import assemble
from tolsim.joint.model import Joint
from tolsim.spec.load import load_study

__all__ = ["rows"]

STUDIES = Path(__file__).parents[2] / "studies"
UNITS = 2**20
#: study -> goal of its drawing time over its time on one thread
GOALS = {"north-seat": 0.45, "steel-all-year": 0.30, "bonded-carbon": 0.30}


def _draw(joint: Joint) -> None:
    read = sorted(set(joint.recording.reads) - set(joint.evidence))
    streams = Streams(1, [joint.latent[i] for i in read])
    z = np.empty((len(read), BLOCK))
    for block in range(UNITS // BLOCK):
        streams.fill(block, z)


def _command(study: str) -> tuple[float, float]:
    """Seconds and peak memory [MB] of the whole command, counting only."""
    arguments = ["predict", str(STUDIES / study), "--plain", "--no-progress", "--exit-zero"]
    # a small process in between, so that what is inherited is small; the shares of all processes
    # of the command are added up, pages that several hold being divided among them
    script = (
        "import re, subprocess, sys, time\n"
        "from pathlib import Path\n"
        "def held(pid):\n"
        "    try:\n"
        "        rollup = Path(f'/proc/{pid}/smaps_rollup').read_text()\n"
        "        below = Path(f'/proc/{pid}/task/{pid}/children').read_text().split()\n"
        "    except OSError:\n"
        "        return 0\n"
        "    pss = re.search(r'Pss:\\s*(\\d+)', rollup)\n"
        "    return int(pss[1] if pss else 0) + sum(map(held, below))\n"
        "start = time.perf_counter()\n"
        "command = subprocess.Popen(sys.argv[1:], stdout=subprocess.DEVNULL)\n"
        "most = 0\n"
        "while command.poll() is None:\n"
        "    most = max(most, held(command.pid))\n"
        "    time.sleep(0.01)\n"
        "assert command.returncode == 0\n"
        "print(time.perf_counter() - start)\n"
        "print(most / 1024)\n"
    )
    command = [sys.executable, "-c", script, sys.executable, "-m", "tolsim", *arguments]
    done = subprocess.run(command, stdout=subprocess.PIPE, text=True, check=True)
    seconds, megabytes = map(float, done.stdout.split())
    return seconds, megabytes


def rows() -> list[Row]:
    """Per study: units a second on one and two threads, and what the whole command takes."""
    found: list[Row] = []
    for study, goal in GOALS.items():
        joint = assemble(load_study(STUDIES / study))
        temperatures = {m.temperature for m in joint.builds[0].margins} - {None}
        # what runs on one thread is timed by the processor's clock: other work then only warms it
        drawing, counting = best(
            partial(_draw, joint),
            partial(tally, joint, seed=1, n=UNITS, workers=1),
            repeats=3,
            clock=cpu_seconds,
        )
        one, two = best(
            partial(tally, joint, seed=1, n=UNITS, workers=1),
            partial(tally, joint, seed=1, n=UNITS, workers=2),
            repeats=3,
        )
        seconds, megabytes = min(_command(study) for _ in range(3))
        what = f"{study}, {len(joint.builds[0].margins)} margins, {len(temperatures)} temperatures"
        note = f"{UNITS / one:,.0f} and {UNITS / two:,.0f} units/s on one and two threads"
        found += [
            Row.at_least(f"drawing alone / counting, {what}", goal, drawing / counting, note),
            Row.at_least(f"two threads against one, {study}", 1.8, one / two),
            Row.at_most(f"seconds of the whole command, 1e6 units, {study}", 3.0, seconds),
            Row(
                what=f"peak memory [MB] of the whole command, imports and workers in it, {study}",
                goal="",
                measured=megabytes,
                met=None,
            ),
        ]
    return found
