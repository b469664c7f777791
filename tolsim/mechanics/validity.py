"""Sentences for designs outside what the formulas were checked for; empty inside."""

from __future__ import annotations

__all__ = ["load_warnings", "sleeve_warnings", "wall_warnings"]

#: Wall over bore diameter between which the shell was compared with finite elements: of one
#: stiffness in all directions (1.5 to 20 mm at 37 mm), or a laminate (1.5 to 7.5 mm at 41 mm).
CHECKED_WALLS = (0.036, 0.55)
CHECKED_LAMINATES = (0.036, 0.19)
_THICK = {
    True: "the factor of finite width errs by up to 13 % where the wall is as thick as the bore is "
    "wide, and by more beyond",
    False: "the finite width formula understates its compliance",
}


def wall_warnings(name: str, bore: float, outside: float, *, plain: bool = True) -> tuple[str, ...]:
    """Whether a wall is thinner or thicker than those compared with finite elements.

    A thin wall follows the balls: the rigid-ring formulas of separation and creep become a
    ranking. Diameters [mm]; `plain` is a wall as stiff in every direction.

    >>> wall_warnings("shell", 37.0, 46.0)
    ()
    >>> wall_warnings("shell", 37.0, 39.0)[0]
    'shell: wall 1 mm is thin for a bore of 37 mm; load concentrates under the balls, ...
    """
    if not 0.0 < bore < outside:
        raise ValueError(f"need 0 < bore < outside, got {bore}, {outside}")
    wall = 0.5 * (outside - bore)
    low, high = CHECKED_WALLS if plain else CHECKED_LAMINATES
    if wall / bore < low:
        return (
            f"{name}: wall {wall:g} mm is thin for a bore of {bore:g} mm; load concentrates under "
            "the balls, separation and creep are a ranking only",
        )
    if wall / bore > high:
        return (f"{name}: wall {wall:g} mm is thick for a bore of {bore:g} mm; {_THICK[plain]}",)
    return ()


def sleeve_warnings(ring_width: float, sleeve_length: float) -> tuple[str, ...]:
    """Whether the ring is wider than the sleeve it sits in. Widths [mm].

    >>> sleeve_warnings(7.0, 6.0)
    ('the ring, 7 mm wide, overhangs its sleeve, 6 mm long; the fit bears on 6 mm only',)
    """
    if ring_width <= sleeve_length:
        return ()
    return (
        f"the ring, {ring_width:g} mm wide, overhangs its sleeve, {sleeve_length:g} mm long; "
        f"the fit bears on {sleeve_length:g} mm only",
    )


def load_warnings(load: float, static_rating: float, how_often: str) -> tuple[str, ...]:
    """Whether a seat load passes the bearing's static rating [N], a static safety below 1.

    Safety is the rating over the load, s0 = C0/P0; source: ISO 76, *Static load ratings*.

    >>> load_warnings(2600.0, 2000.0, "1 of 740 units")[0]
    'bearing: seat load reaches 2600 N in 1 of 740 units, static rating 2000 N: static safety...
    """
    if load <= static_rating:
        return ()
    return (
        f"bearing: seat load reaches {load:.0f} N in {how_often}, static rating "
        f"{static_rating:.0f} N: static safety {static_rating / load:.2f} is below 1 (ISO 76), the "
        "balls may dent the raceways",
    )
