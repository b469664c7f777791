"""``tolsim limits``: what published tables say, at the prompt while a drawing is on the desk."""

from __future__ import annotations

import json
import math
import re
from typing import Any

import click

from tolsim.answers.limits import Side, band_side, fit, look_up_bearing, ring_side, seat_side
from tolsim.errors import ExitCode, Problem
from tolsim.report.limits import band_payload, bearing_payload, class_payload, fit_payload
from tolsim.report.limits_text import text
from tolsim.standards.sizes import Feature, limits, nearest
from tolsim.standards.tables import TableError
from tolsim.units import convert

__all__ = ["command"]

_LENGTH = re.compile(r"([+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d+)?)\s*(mm|in)?", re.ASCII)


@click.command("limits")
@click.argument("size", required=False)
@click.argument("designation", metavar="[CLASS]", required=False)
@click.option(
    "--band",
    nargs=2,
    type=float,
    metavar="LOWER UPPER",
    help="Deviations in µm (in thou for a size in inches) in place of a class.",
)
@click.option("--shaft", is_flag=True, help="The band is a shaft's, not a hole's.")
@click.option(
    "--with", "partner", metavar="SIZE|CLASS", help="The other part: size of a ring, or a class."
)
@click.option("--ring", metavar="CLASS", help="Class of that ring: normal, 6, 5, 4 or 2.")
@click.option("--bearing", metavar="SIZE", help="A rolling bearing: d x D x B in mm, 25x37x7.")
@click.option("--class", "cls", metavar="CLASS", help="Its class (ISO 492); normal if left out.")
@click.option("--clearance", metavar="GROUP", help="Its group (ISO 5753-1); N if left out.")
@click.option("--unit", type=click.Choice(["mm", "in"]), help="Unit of sizes without one; mm.")
@click.option("--json", "as_json", is_flag=True, help="One JSON document on standard output.")
@click.pass_context
def command(
    context: click.Context,
    size: str | None,
    designation: str | None,
    band: tuple[float, float] | None,
    shaft: bool,
    partner: str | None,
    ring: str | None,
    bearing: str | None,
    cls: str | None,
    clearance: str | None,
    unit: str | None,
    as_json: bool,
) -> None:
    """Look up sizes, fits and rolling bearings in published tables.

    \b
    tolsim limits 37 P7                           limits of a class (ISO 286)
    tolsim limits 1.457in P7                      the same for a size in inches
    tolsim limits 37 --band -42 -17               the classes nearest to a band
    tolsim limits 37 P7 --with 37 --ring normal   the fit with the ring of a bearing
    tolsim limits 40 H7 --with g6                 the fit of two classes
    tolsim limits --bearing 25x37x7 --class normal --clearance N
    """
    given = {
        "SIZE": size,
        "CLASS": designation,
        "--band": band,
        "--shaft": shaft or None,
        "--with": partner,
        "--ring": ring,
        "--unit": unit,
    }
    of_bearing = {"--class": cls, "--clearance": clearance}
    try:
        if bearing is not None:
            _refuse(given, "--bearing is a question of its own; leave out")
            answer = look_up_bearing(bearing, cls or "normal", clearance or "N")
            payload = bearing_payload(answer)
        else:
            _refuse(of_bearing, "these belong to --bearing:")
            payload = _sizes(size, designation, band, shaft, partner, ring, unit or "mm")
    except TableError as error:
        problem = Problem(
            file="tolsim limits",
            message=error.message,
            found=error.found,
            allowed=error.allowed,
            closest=error.closest,
        )
        click.echo(problem.text(), err=True)
        context.exit(ExitCode.INVALID)
    if as_json:
        click.echo(json.dumps(payload, indent=2, ensure_ascii=False, allow_nan=False))
    else:
        click.echo(text(payload))


def _sizes(
    size: str | None,
    designation: str | None,
    band: tuple[float, float] | None,
    shaft: bool,
    partner: str | None,
    ring: str | None,
    unit: str,
) -> dict[str, Any]:
    """The three questions about a size: its class, its band, its fit."""
    if size is None:
        raise click.UsageError("give a size and a class (37 P7), or --bearing 25x37x7.")
    nominal, unit = _length(size, unit, "the size")
    if (designation is None) == (band is None):
        raise click.UsageError("give either a class (P7) or --band LOWER UPPER.")
    if shaft and band is None:
        raise click.UsageError("--shaft belongs to --band; a class says it by its letter.")
    if ring is not None and partner is None:
        raise click.UsageError("--ring belongs to --with SIZE.")

    if designation is not None:
        found = limits(nominal, designation)
        if partner is None:
            return class_payload(found, unit=unit)
        seat = seat_side(found)
    else:
        assert band is not None
        lower, upper = (convert(v, "thou" if unit == "in" else "um", "mm") for v in band)
        if not (math.isfinite(lower) and math.isfinite(upper) and lower < upper):
            raise click.UsageError("--band needs its lower limit before a larger upper one.")
        feature: Feature = "shaft" if shaft else "hole"
        if partner is None:
            return band_payload(nearest(nominal, lower, upper, feature), unit=unit)
        seat = band_side(nominal, lower, upper, feature)
    return fit_payload(fit(seat, _partner(partner, ring, seat, unit)), unit=unit)


def _partner(words: str, ring: str | None, seat: Side, unit: str) -> Side:
    """The other part of a fit: a ring of a size, or a class at the size of the seat."""
    if _LENGTH.fullmatch(words.strip()) is None:
        if ring is not None:
            raise click.UsageError("--ring needs a size in --with, not a class.")
        return seat_side(limits(seat.nominal, words))
    if ring is None:
        raise click.UsageError("--with a size needs the class of the ring: --ring normal.")
    return ring_side(_length(words, unit, "--with")[0], ring, seat.feature)


def _length(words: str, unit: str, what: str) -> tuple[float, str]:
    """A size in mm and the unit it was given in: ``37``, ``1.457in``."""
    match = _LENGTH.fullmatch(words.strip())
    if match is None:
        raise click.UsageError(f"{what} must be a number, also with mm or in: got {words!r}.")
    unit = match[2] or unit
    return convert(float(match[1]), unit, "mm"), unit


def _refuse(given: dict[str, Any], because: str) -> None:
    names = [name for name, value in given.items() if value is not None]
    if names:
        raise click.UsageError(f"{because} {', '.join(names)}.")
