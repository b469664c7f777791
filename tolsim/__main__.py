"""Entry point of ``tolsim`` and ``python -m tolsim``."""

from __future__ import annotations

import sys

__all__ = ["main"]


def main() -> None:
    """Run the command line and leave with its exit code."""
    from tolsim.cli.main import run

    sys.exit(run(sys.argv[1:]))


if __name__ == "__main__":
    main()
