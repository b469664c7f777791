"""Run campaigns and write their tables.

``python -m tests.campaigns`` runs all, names choose some, ``--reduced`` takes a tenth of the
repeats, ``--list`` names them. Tables go to ``tests/campaigns/tables``.
"""

from __future__ import annotations

import argparse
import time
from collections.abc import Callable

from tests.campaigns import (
    coverage_evidence,
    coverage_joint,
    coverage_lots,
    coverage_rare_events,
    coverage_shapes,
    design_planted,
    detection,
    magnitudes,
    rule_worlds,
)
from tests.campaigns.table import Table

#: What each campaign measures: called with ``reduced=``, returns its table.
CAMPAIGNS: dict[str, Callable[..., Table]] = {
    "coverage-published": coverage_rare_events.published_problems,
    "coverage-shapes": coverage_rare_events.shaped_problems,
    "coverage-joints": coverage_joint.joints,
    "planted-pockets": coverage_rare_events.pockets,
    "design-planted": design_planted.planted_problems,
    "design-infeasible": design_planted.infeasible_problems,
    "detection": detection.as_table,
    "magnitudes": magnitudes.magnitudes,
    "coverage-readings": coverage_evidence.as_normal,
    "coverage-readings-shapes": coverage_shapes.shapes,
    "coverage-left-open": coverage_shapes.left_open,
    "coverage-lots": coverage_lots.lots,
    "rule-worlds": rule_worlds.campaign,
}


def main() -> None:
    """Parse, run, write."""
    parser = argparse.ArgumentParser(prog="python -m tests.campaigns", description=__doc__)
    parser.add_argument("names", nargs="*", metavar="name", help="campaigns; all by default")
    parser.add_argument("--reduced", action="store_true", help="a tenth of the repeats")
    parser.add_argument("--list", action="store_true", help="name the campaigns and stop")
    args = parser.parse_args()
    if args.list:
        print("\n".join(CAMPAIGNS))
        return
    unknown = [n for n in args.names if n not in CAMPAIGNS]
    if unknown:
        parser.error(f"no campaign {', '.join(unknown)}; there are {', '.join(CAMPAIGNS)}")
    for name in args.names or CAMPAIGNS:
        print(name, flush=True)
        began = time.perf_counter()
        table = CAMPAIGNS[name](reduced=args.reduced)
        page = table.write(name, reduced=args.reduced)
        for line in table.verdict:
            print(f"  {line}")
        print(f"  {time.perf_counter() - began:.0f} s, {page}")


if __name__ == "__main__":
    main()
