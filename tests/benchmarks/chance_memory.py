"""Peak memory of a long plain run on two workers, in processes of its own.

What the caller's peak rose by, and on top of it the private pages of each child that it forked.
"""

from __future__ import annotations

import subprocess
import sys

from tests.benchmarks.row import Row

_RUN = """
import os, re, resource, sys
from pathlib import Path
from tests.benchmarks.chance_draws import counting
from tests.benchmarks.small_joint import NAMES, SEVERITIES
from tolsim.chance.blocks import run_blocks
from tolsim.chance.streams import BLOCK, Streams

def peak():
    status = Path("/proc/self/status")
    if status.exists():  # ru_maxrss starts at the peak of the process that started this one
        return int(re.search(r"VmHWM:\\s*(\\d+)", status.read_text())[1]) / 1024
    unit = 2**20 if sys.platform == "darwin" else 2**10  # bytes there, kibibytes elsewhere
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / unit

def private():
    rollup = Path("/proc/self/smaps_rollup")
    if os.getpid() == caller or not rollup.exists():
        return 0.0
    return sum(int(k) for k in re.findall(r"Private_\\w+:\\s*(\\d+)", rollup.read_text())) / 1024

def make():
    work = counting(Streams(1, NAMES), SEVERITIES[1e-3])()
    def both(block):
        failed = work(block)
        return failed, os.getpid(), private() if block % 50 < 2 else 0.0
    return both

caller, before = os.getpid(), peak()
for n in (10**6, int(float(sys.argv[1]))):
    most = {}
    for failed, pid, mine in run_blocks(make, -(-n // BLOCK), workers=2, processes=True):
        most[pid] = max(mine, most.get(pid, 0.0))
    print(peak() - before + sum(most.values()))
"""


def rows(units: float = 1e8) -> list[Row]:
    """Megabytes above imports at the end of the run, and how much of it the length added."""
    if sys.platform == "win32":
        return [Row.skipped("peak memory above imports", "<= 64", "no resource module here")]
    done = subprocess.run(
        [sys.executable, "-c", _RUN, str(units)], capture_output=True, text=True, check=True
    )
    short, long = (float(line) for line in done.stdout.split())
    return [
        Row.at_most(f"peak memory above imports at {units:.0e} units, MB", 64.0, long),
        Row.at_most(f"of it growth from 1e6 to {units:.0e} units, MB", 8.0, long - short),
    ]
