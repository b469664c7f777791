"""Metric threads after ISO 965-1: pitch diameter limits of fine threads for sleeves, 6H and 6g.

Tables for pitches 1 and 1.5 over 22.4 up to 90 mm. They were seen in one public list of limits,
not in the standard; the rule of the standard (from memory) gives the same number in seven of the
eight cells. The eighth, an internal thread of pitch 1 over 45 mm, is doubtful: the list gives 190
µm, the rule 180. Both numbers are returned.
"""

from __future__ import annotations

import re
from dataclasses import dataclass

from tolsim.standards.tables import TableError, mm, rows

__all__ = ["Thread", "basic_diameters", "thread"]

_WORD = re.compile(r"[Mm]\s*(\d+(?:\.\d+)?)\s*[xX×]\s*(\d+(?:\.\d+)?)(?:\s*-\s*(6[Hg]))?")


@dataclass(frozen=True, kw_only=True, slots=True)
class Thread:
    """Pitch diameter limits of a metric thread; all lengths in mm.

    ``lower`` and ``upper`` are deviations from the basic pitch diameter. `alternative_tolerance`
    is the tolerance that the rule gives where the published list differs from it, else None.
    """

    designation: str
    nominal: float
    pitch: float
    tolerance_class: str
    basic_pitch_diameter: float
    basic_minor_diameter: float
    lower: float
    upper: float
    alternative_tolerance: float | None
    confidence: str
    source: str
    notes: tuple[str, ...]

    @property
    def tolerance(self) -> float:
        """Tolerance of the pitch diameter in mm."""
        return self.upper - self.lower

    @property
    def limits(self) -> tuple[float, float]:
        """Smallest and largest pitch diameter in mm."""
        return self.basic_pitch_diameter + self.lower, self.basic_pitch_diameter + self.upper


def basic_diameters(nominal: float, pitch: float) -> tuple[float, float]:
    r"""Basic pitch and minor diameter [mm] of a metric thread.

    .. math:: d_2 = d - \tfrac{3}{8}\sqrt{3} P, \qquad D_1 = d - \tfrac{5}{8}\sqrt{3} P

    References
    ----------
    .. [1] ISO 68-1 basic profile, 60 degrees; from memory, agrees with the published limits.

    >>> basic_diameters(30.0, 1.5)[0]
    29.0257
    """
    if not 0.0 < pitch < nominal:
        raise ValueError(f"need 0 < pitch < nominal, got {pitch} and {nominal}")
    root3 = 3.0**0.5
    return nominal - 0.375 * root3 * pitch, nominal - 0.625 * root3 * pitch


def thread(designation: str, tolerance_class: str | None = None) -> Thread:
    """Limits of the pitch diameter of a metric fine thread.

    Parameters
    ----------
    designation : str
        ``M30x1.5``, or with its class ``M30x1.5-6H``.
    tolerance_class : str, optional
        ``6H`` (internal) or ``6g`` (external) where the designation carries none.

    Raises
    ------
    TableError
        No thread, or a pitch or size that is not kept here.

    Examples
    --------
    >>> nut = thread("M30x1.5-6H")
    >>> nut.lower, nut.upper
    (0.0, 0.2)
    """
    match = _WORD.fullmatch(designation.strip())
    if match is None:
        raise TableError(
            "this is no metric fine thread",
            found=repr(designation),
            allowed="M, nominal diameter x pitch in mm and a class 6H or 6g: M30x1.5-6H",
        )
    nominal, pitch = float(match[1]), float(match[2])
    cls = tolerance_class or match[3] or ""
    if cls not in ("6H", "6g"):
        near = {"h": "6H", "g": "6g"}.get(cls[-1:].lower())
        raise TableError(
            "this thread tolerance class is not kept here",
            found=cls or "no class",
            allowed="6H (internal), 6g (external)",
            closest=near,
        )
    kept = [r for r in rows("iso965_pitch_diameter_tolerance") if r["tolerance_class"] == cls]
    pitches = sorted({float(r["pitch_mm"]) for r in kept})
    if pitch not in pitches:
        near_pitch = min(pitches, key=lambda p: abs(p - pitch))
        raise TableError(
            "this pitch is not kept here",
            found=f"{pitch:g} mm",
            allowed=" and ".join(f"{p:g}" for p in pitches) + " mm",
            closest=f"M{nominal:g}x{near_pitch:g}-{cls}",
        )
    of_pitch = [r for r in kept if float(r["pitch_mm"]) == pitch]
    fitting = [r for r in of_pitch if float(r["d_over_mm"]) < nominal <= float(r["d_incl_mm"])]
    if not fitting:
        end = "M90" if nominal > 90.0 else "M24"
        raise TableError(
            "this thread diameter is outside the table",
            found=f"{nominal:g} mm",
            allowed="over 22.4 up to and including 90 mm",
            closest=f"{end}x{pitch:g}-{cls}",
        )
    row = fitting[0]
    shift = mm(row["fundamental_deviation_um"])
    width = mm(row["tolerance_um"])
    doubtful = row["differs_from_formula"] == "1"
    lower, upper = (shift, shift + width) if cls == "6H" else (shift - width, shift)
    pitch_diameter, minor = basic_diameters(nominal, pitch)
    return Thread(
        designation=f"M{nominal:g}x{pitch:g}-{cls}",
        nominal=nominal,
        pitch=pitch,
        tolerance_class=cls,
        basic_pitch_diameter=round(pitch_diameter, 3),
        basic_minor_diameter=round(minor, 3),
        lower=round(lower, 9),
        upper=round(upper, 9),
        alternative_tolerance=mm(row["formula_R40_um"]) if doubtful else None,
        confidence="sources_disagree" if doubtful else row["confidence"],
        source=row["provenance"],
        notes=(row["note"],) if row["note"] else (),
    )
