"""Templates of HTML made into pages: one file each, no script, no network."""

from __future__ import annotations

import re
from typing import Any

from tolsim.report.numbers import held

__all__ = ["rendered"]

_THOUSANDS = re.compile(r"(?<=\d) (?=\d{3}(?!\d))")


def rendered(template: str, content: dict[str, Any]) -> str:
    """A template of this room with its content; everything put into it is escaped."""
    from jinja2 import Environment, PackageLoader, StrictUndefined

    env = Environment(
        loader=PackageLoader("tolsim.report"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        keep_trailing_newline=True,
        finalize=_held,
    )
    return env.get_template(template).render(content)


def _held(value: Any) -> Any:
    """Numbers keep their units wherever text is put into the page."""
    return _THOUSANDS.sub("\N{NO-BREAK SPACE}", held(value)) if type(value) is str else value
