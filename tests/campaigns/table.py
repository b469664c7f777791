"""A campaign's result as Markdown for readers and CSV for machines."""

from __future__ import annotations

import csv
import datetime
import subprocess
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

__all__ = ["TABLES", "Table", "commit"]

TABLES = Path(__file__).parent / "tables"


@dataclass(frozen=True, kw_only=True, slots=True)
class Table:
    """Rows of text under columns, with what was measured and what it came to."""

    title: str
    measured: str
    columns: tuple[str, ...]
    rows: Sequence[Sequence[str]]
    verdict: Sequence[str]

    def markdown(self) -> str:
        """The table as Markdown."""
        lines = [f"# {self.title}", "", self.measured, ""]
        lines += ["| " + " | ".join(self.columns) + " |", "|" + "---|" * len(self.columns)]
        lines += ["| " + " | ".join(row) + " |" for row in self.rows]
        lines += ["", *(f"- {v}" for v in self.verdict), ""]
        return "\n".join(lines)

    def write(self, name: str, *, reduced: bool, folder: Path = TABLES) -> Path:
        """Write ``name.md`` and ``name.csv``, a reduced run beside the full one."""
        folder.mkdir(parents=True, exist_ok=True)
        stem = f"{name}-reduced" if reduced else name
        made = f"Commit {commit()}, {datetime.date.today().isoformat()}."
        page = folder / f"{stem}.md"
        page.write_text(self.markdown() + f"\n{made}\n")
        with (folder / f"{stem}.csv").open("w", newline="") as f:
            out = csv.writer(f)
            out.writerow(self.columns)
            out.writerows(self.rows)
        return page


def commit() -> str:
    """Short name of the commit that is checked out, marked where files differ from it."""

    def git(*words: str) -> str:
        where = Path(__file__).parent
        done = subprocess.run(["git", *words], cwd=where, capture_output=True, text=True)
        return done.stdout.strip()

    name = git("rev-parse", "--short", "HEAD") or "unknown"
    return f"{name} with changes" if git("status", "--porcelain", "--", "../../tolsim") else name
