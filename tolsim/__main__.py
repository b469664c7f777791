"""Entry point of ``tolsim`` and ``python -m tolsim``."""

from __future__ import annotations

import os
import sys

__all__ = ["main"]


def main() -> None:
    """Run the command line and leave with its exit code."""
    # The small systems solved here only lose by BLAS threads, which stand in the way of our own.
    for name in ("OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS", "OMP_NUM_THREADS"):
        os.environ.setdefault(name, "1")
    from tolsim.cli.main import run

    sys.exit(run(sys.argv[1:]))


if __name__ == "__main__":
    main()
