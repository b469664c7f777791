"""Peak memory of a long plain run, in a process of its own."""

from __future__ import annotations

import subprocess
import sys

from tests.benchmarks.row import Row

_RUN = """
import resource, sys
from tests.benchmarks.chance_draws import counting
from tests.benchmarks.small_joint import NAMES, SEVERITIES
from tolsim.chance.blocks import run_blocks
from tolsim.chance.streams import BLOCK, Streams
peak = lambda: resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
before = peak()
make = counting(Streams(1, NAMES), SEVERITIES[1e-3])
for n in (10**6, int(float(sys.argv[1]))):
    failed = sum(run_blocks(make, -(-n // BLOCK), workers=2))
    print(peak() - before)
"""


def rows(units: float = 1e8) -> list[Row]:
    """Megabytes above imports at the end of the run, and how much of it the length added."""
    if sys.platform == "win32":
        return [Row.skipped("peak memory above imports", "<= 64", "no resource module here")]
    done = subprocess.run(
        [sys.executable, "-c", _RUN, str(units)], capture_output=True, text=True, check=True
    )
    unit = 2**20 if sys.platform == "darwin" else 2**10  # bytes there, kibibytes elsewhere
    short, long = (int(line) / unit for line in done.stdout.split())
    return [
        Row.at_most(f"peak memory above imports at {units:.0e} units, MB", 64.0, long),
        Row.at_most(f"of it growth from 1e6 to {units:.0e} units, MB", 8.0, long - short),
    ]
