"""``tolsim parts``."""

from __future__ import annotations

from pathlib import Path

import click

from tolsim.cli.options import emit_json, json_option

__all__ = ["command"]


@click.command()
@click.argument("folder", required=False, type=click.Path(path_type=Path, exists=True))
@json_option
def command(folder: Path | None, as_json: bool) -> int:
    """List the parts that a study may name: those of its own FOLDER first, then specs/."""
    import tomli

    from tolsim.report.numbers import clean
    from tolsim.spec.files import read_capped, shown_path
    from tolsim.spec.load import available_parts

    if folder is not None and folder.is_file():
        folder = folder.parent
    rows = []
    for name, path in available_parts(folder).items():
        try:
            raw = tomli.loads(read_capped(path, shown_path(path))[0])
        except (tomli.TOMLDecodeError, ValueError):
            raw = {}
        rows.append(
            {
                "name": name,
                "part": str(raw.get("part", "?")),
                "basis": str(raw.get("basis", "?")),
                "title": clean(str(raw.get("title", ""))),
                "file": shown_path(path),
            }
        )
    if as_json:
        emit_json({"schema": "tolsim/parts/1", "parts": rows})
        return 0
    if not rows:
        click.echo("no parts found")
        return 0
    width = max(len(r["name"]) for r in rows)
    for r in rows:
        click.echo(f"{r['name']:<{width}}  {r['basis']:<8}  {r['title']}")
    return 0
