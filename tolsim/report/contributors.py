"""What the paths of contributors are called in sentences."""

from __future__ import annotations

from tolsim.report.numbers import clean

__all__ = ["contributor_words"]

_OF_PART = {
    "bore.diameter": "bore diameter",
    "bore.alignment.offset": "bore offset",
    "bore.alignment.tilt": "bore tilt",
    "bore.roundness.amplitude": "bore roundness",
    "bearing.outside": "ring diameter",
    "bearing.clearance": "bearing clearance",
    "bearing.inner_fit": "inner-ring fit",
    "bearing.roundness.amplitude": "ring roundness",
    "sleeve.inside": "sleeve's inside diameter",
    "sleeve.outside": "sleeve's outside diameter",
    "sleeve.coating.thickness": "sleeve's film",
    "sleeve.thread.clearance": "thread clearance",
    "sleeve.thread.face_run_out": "run-out of the flange face",
    "sleeve.thread.torque": "tightening torque",
    "adhesive.wetted_share": "wetted share of the bond",
    "service.pedal_force": "pedal force",
    "service.chain_force": "pull of the chain",
    "service.seat_load": "seat load",
    "joint.friction": "friction",
}


def contributor_words(path: str, supply: str | None = None) -> str:
    """Such as "the bore diameter", or "Coast's bore diameter" for one supply.

    >>> contributor_words("bearing.outside"), contributor_words("bore.diameter", "Coast")
    ('the ring diameter', "Coast's bore diameter")
    >>> contributor_words("sleeve.alignment.tilt")
    'the sleeve tilt'
    """
    plain = path.replace(".alignment", "").replace(".", " ").replace("_", " ")
    words = _OF_PART.get(path, plain)
    return f"the {words}" if supply is None else clean(f"{supply}'s {words}")
