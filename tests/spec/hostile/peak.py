"""Write all hostile files to a folder, or read them and print the peak of memory in MB.

Two processes, so that building the files does not count: ``python -m tests.spec.hostile.peak``.
"""

from __future__ import annotations

import sys
from pathlib import Path

from tests.spec.hostile import books, texts
from tolsim.errors import SpecError
from tolsim.spec.readings import read_readings


def write(folder: Path) -> None:
    """Write every hostile file."""
    for name, (data, _) in texts.REFUSED.items():
        (folder / f"{name}.csv").write_bytes(data)
    for name, (build, _) in books.REFUSED.items():
        (folder / f"{name}.xlsx").write_bytes(build())


def read(folder: Path) -> None:
    """Read every file, each of which must be refused."""
    for path in sorted(folder.iterdir()):
        try:
            read_readings(
                path,
                shown=path.name,
                column="bore_mm",
                nominal_mm=37.0,
                side="side",
                unit="frame",
            )
        except SpecError:
            continue
        raise SystemExit(f"{path.name} was read")
    # what getrusage tells starts at the peak of the process that started this one
    status = Path("/proc/self/status").read_text()
    peak = next(line for line in status.splitlines() if line.startswith("VmHWM"))
    print(int(peak.split()[1]) // 1024)


if __name__ == "__main__":
    {"write": write, "read": read}[sys.argv[1]](Path(sys.argv[2]))
