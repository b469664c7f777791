"""``tolsim schema``."""

from __future__ import annotations

import click

from tolsim.cli.options import emit_json

__all__ = ["command"]


@click.command()
@click.argument("what", type=click.Choice(["study", "part"]), default="study")
def command(what: str) -> int:
    """Print the JSON Schema of a study or of a part, for editors.

    Keys are listed in their usual unit; another suffix of the same dimension is accepted too.
    """
    from pydantic import TypeAdapter

    from tolsim.spec.parts import Adhesive, Bearing, Bore, Sleeve
    from tolsim.spec.study import StudySpec

    if what == "study":
        schema = StudySpec.model_json_schema()
    else:
        schema = TypeAdapter(Bore | Bearing | Sleeve | Adhesive).json_schema()
    emit_json({"$schema": "https://json-schema.org/draft/2020-12/schema", **schema})
    return 0
