"""Run benchmarks and print their table.

``python -m tests.benchmarks`` runs all, names choose some, ``--list`` names them, ``--markdown``
writes ``tests/benchmarks/table.md`` as well. Ratios are taken within one run on one machine, so
nothing else should run beside it.
"""

from __future__ import annotations

import argparse
import datetime
import importlib
import os
import platform
import sys
import time
from collections.abc import Sequence
from pathlib import Path

from tests.benchmarks.row import Row

#: name -> module and function that returns its rows; modules are imported when they run
BENCHMARKS: dict[str, tuple[str, str]] = {
    "chance-draws": ("tests.benchmarks.chance_draws", "rows"),
    "chance-rare-events": ("tests.benchmarks.chance_rare_events", "rows"),
    "chance-memory": ("tests.benchmarks.chance_memory", "rows"),
    "chance-reuse": ("tests.benchmarks.chance_reuse", "rows"),
    "chance-peer": ("tests.benchmarks.chance_peer", "rows"),
    "window": ("tests.benchmarks.window", "rows"),
    "process-draws": ("tests.benchmarks.process_draws", "rows"),
    "design-search": ("tests.benchmarks.design_search", "rows"),
    "compare-alternatives": ("tests.benchmarks.compare_alternatives", "rows"),
    "predict-units": ("tests.benchmarks.units_per_second", "rows"),
}

HEAD = ("what", "goal", "measured", "met", "note")


def text(found: dict[str, Sequence[Row]]) -> str:
    """The table as Markdown."""
    lines = ["| " + " | ".join(HEAD) + " |", "|" + "---|" * len(HEAD)]
    for rows in found.values():
        lines += ["| " + " | ".join(r.cells()) + " |" for r in rows]
    return "\n".join(lines)


def machine() -> str:
    """What the ratios were measured on."""
    import numpy as np
    import scipy

    cores = len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count()
    return (
        f"{cores} cores, {platform.machine()}, Python {platform.python_version()}, "
        f"numpy {np.__version__}, scipy {scipy.__version__}, {datetime.date.today().isoformat()}"
    )


def main() -> None:
    """Parse, run, print."""
    parser = argparse.ArgumentParser(prog="python -m tests.benchmarks", description=__doc__)
    parser.add_argument("names", nargs="*", metavar="name", help="benchmarks; all by default")
    parser.add_argument("--list", action="store_true", help="name the benchmarks and stop")
    parser.add_argument("--markdown", action="store_true", help="write table.md as well")
    args = parser.parse_args()
    if args.list:
        print("\n".join(BENCHMARKS))
        return
    unknown = [n for n in args.names if n not in BENCHMARKS]
    if unknown:
        parser.error(f"no benchmark {', '.join(unknown)}; there are {', '.join(BENCHMARKS)}")
    found: dict[str, Sequence[Row]] = {}
    for name in args.names or BENCHMARKS:
        module, function = BENCHMARKS[name]
        began = time.perf_counter()
        found[name] = getattr(importlib.import_module(module), function)()
        print(f"{name}: {time.perf_counter() - began:.0f} s", file=sys.stderr, flush=True)
    page = f"{text(found)}\n\n{machine()}"
    print(page)
    if args.markdown:
        Path(__file__).with_name("table.md").write_text(f"# Benchmarks\n\n{page}\n")


if __name__ == "__main__":
    main()
