"""``tolsim new``."""

from __future__ import annotations

from importlib.resources import files
from pathlib import Path

import click

from tolsim.cli.options import write_text
from tolsim.errors import UsageError

__all__ = ["command"]

FILES = ("study.toml", "bores/our-shell.toml", "bores/our-shell.csv")


@click.command()
@click.argument("folder", type=click.Path(path_type=Path, file_okay=False))
def command(folder: Path) -> int:
    """Write a commented study into FOLDER that runs as it stands."""
    there = [name for name in FILES if (folder / name).exists()]
    if there:
        raise UsageError(f"{', '.join(there)} already in {folder}; nothing was written")
    source = files("tolsim.cli") / "templates"
    for name in FILES:
        write_text(folder / name, (source / name).read_bytes())
    click.echo(f"Wrote {', '.join(FILES)} into {folder}.")
    click.echo(f"Next: tolsim predict {folder}")
    return 0
