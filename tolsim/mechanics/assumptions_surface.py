"""Remembered constants of bonds and of films on surfaces."""

from __future__ import annotations

from tolsim.mechanics.assumed import Assumed

__all__ = ["SURFACES"]

SURFACES: tuple[Assumed, ...] = (
    Assumed(
        name="wetted-share",
        value=0.8,
        low=0.7,
        high=0.95,
        unit="1",
        most=1.0,
        basis="share of the bond surface that the adhesive wets; from memory",
    ),
    Assumed(
        name="bond-strength-retaining",
        value=10.0,
        low=8.0,
        high=15.0,
        unit="MPa",
        basis="medium, serviceable retaining grade on degreased steel (ISO 10123); from memory",
    ),
    Assumed(
        name="bond-strength-epoxy",
        value=20.0,
        low=15.0,
        high=30.0,
        unit="MPa",
        basis="lap shear of structural epoxy; from memory",
    ),
    Assumed(
        name="bond-substrate-aluminium",
        value=0.7,
        low=0.6,
        high=0.8,
        unit="1",
        most=1.0,
        basis="strength of a retaining grade on aluminium over that on steel; from memory",
    ),
    Assumed(
        name="bond-substrate-anodised",
        value=0.55,
        low=0.4,
        high=0.7,
        unit="1",
        most=1.0,
        basis="on anodised or passive surfaces over that on steel; from memory",
    ),
    Assumed(
        name="bond-gap-loss",
        value=1.0,
        low=0.0,
        high=2.0,
        unit="1",
        most=2.5,
        basis="scales how far strength falls with the gap (0.85 at 0.10 mm, 0.65 at 0.15, 0.4 "
        "at 0.25): an assumption, data sheets show that order for the speed of cure only",
    ),
    Assumed(
        name="bond-share-pressed",
        value=0.0,
        low=0.0,
        high=1.0,
        unit="1",
        most=1.0,
        basis="share of the bond strength that a pressed and glued fit keeps: superposition "
        "(Dragoni and Mauri 2002, title seen) gives 1, Croccolo et al. 2012 found no sensible "
        "gain with adhesive applied before pressing",
    ),
    Assumed(
        name="peel-strength",
        value=10.0,
        low=3.0,
        high=20.0,
        unit="MPa",
        basis="radial tension a bond line carries; from memory, weak",
    ),
    Assumed(
        name="bond-strength-per-K",
        value=0.008,
        low=0.004,
        high=0.012,
        unit="1/K",
        most=0.1,
        basis="share of the strength lost per kelvin above 20 °C; from memory, weak",
    ),
    Assumed(
        name="outward-share-type-ii",
        value=0.33,
        low=0.30,
        high=0.55,
        unit="1",
        most=1.0,
        basis="growth over film thickness per surface: one third (anodiser's page); some shops "
        "count one half",
    ),
    Assumed(
        name="outward-share-type-iii",
        value=0.50,
        low=0.30,
        high=0.55,
        unit="1",
        most=1.0,
        basis="hard coat: one half (anodiser's page)",
    ),
    Assumed(
        name="etch",
        value=0.002,
        low=0.001,
        high=0.005,
        unit="mm",
        basis="removed per surface by etching and cleaning before anodising; from memory",
    ),
    Assumed(
        name="film-lost-in-press",
        value=0.25,
        low=0.0,
        high=0.5,
        unit="1",
        most=1.0,
        basis="share of the outward growth scraped or crushed at press-in; range from memory, "
        "mid value taken",
    ),
    Assumed(
        name="bond-coupling",
        value=1.0,
        low=0.0,
        high=1.0,
        unit="1",
        most=1.0,
        basis="how far sleeve and shell bend as one section through the adhesive: 1 wholly, 0 "
        "as if they slid; a soft or thick bond line shears and lies between",
    ),
)
