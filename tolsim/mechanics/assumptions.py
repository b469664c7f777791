"""Constants of the physics that are remembered, disputed or weak, each with its range and basis.

Functions of this room take every one of them as an argument; the values here are the defaults.
Whoever reruns a study at ``low`` and at ``high`` sees whether the constant turns a verdict.
"""

from __future__ import annotations

from dataclasses import dataclass

__all__ = ["ASSUMED", "Assumed"]


@dataclass(frozen=True, kw_only=True, slots=True)
class Assumed:
    """A constant with the range in which it may lie; ``low <= value <= high``."""

    name: str
    value: float
    low: float
    high: float
    unit: str
    basis: str

    def __post_init__(self) -> None:
        if not self.low <= self.value <= self.high:
            raise ValueError(f"{self.name}: need low <= value <= high, got {self}")


#: By name.
#:
#: >>> ASSUMED["smoothing-factor"].low
#: 0.4
ASSUMED: dict[str, Assumed] = {
    a.name: a
    for a in (
        Assumed(
            name="smoothing-factor",
            value=0.8,
            low=0.4,
            high=0.8,
            unit="1",
            basis="DIN 7190:2001 gives 0.8 of the sum of both Rz; manuals quoting DIN 7190-1:2017 "
            "give 0.4, some texts the other way round; from stiff joints at far higher pressure",
        ),
        Assumed(
            name="ring-creep",
            value=0.08,
            low=0.05,
            high=0.12,
            unit="µm/sqrt(N)",
            basis="loss of interference 0.08 sqrt(d F/B) is a bearing handbook's formula for inner "
            "rings; its use on outer rings and the range are from memory, no source",
        ),
        Assumed(
            name="ring-temperature",
            value=0.0015,
            low=0.0,
            high=0.0015,
            unit="1",
            basis="loss 0.0015 d dT µm, dT bearing above its surroundings; bearing handbook, from "
            "memory; nothing at all where the bearing runs slowly",
        ),
        Assumed(
            name="rolling-temperature",
            value=0.5,
            low=0.0,
            high=1.0,
            unit="K",
            basis="inner ring above outer ring: 0 to 1 K at crank speed (estimate, no source); "
            "5 to 10 K in normally loaded machines (bearing handbooks) is to be stated",
        ),
        Assumed(
            name="friction-steel-steel-press",
            value=0.12,
            low=0.07,
            high=0.18,
            unit="1",
            basis="bearing steel on a steel seat, light oil: 0.12 in, 0.18 out (bearing handbooks, "
            "from memory); 0.06 to 0.11 in DIN 7190-1, partly from memory",
        ),
        Assumed(
            name="friction-steel-aluminium-press",
            value=0.12,
            low=0.05,
            high=0.15,
            unit="1",
            basis="DIN 7190-1: axial 0.07 dry, 0.05 oiled (from memory); shrink fit 0.10 to 0.15",
        ),
        Assumed(
            name="friction-steel-titanium-press",
            value=0.08,
            low=0.05,
            high=0.15,
            unit="1",
            basis="DIN 7190-1: 0.05 oiled, from memory; the upper end is a guess",
        ),
        Assumed(
            name="friction-steel-cfrp-press",
            value=0.15,
            low=0.08,
            high=0.30,
            unit="1",
            basis="0.08 to 0.12 greased, 0.15 to 0.30 dry, from memory",
        ),
        Assumed(
            name="friction-aluminium-cfrp-press",
            value=0.23,
            low=0.12,
            high=0.68,
            unit="1",
            basis="Schoen 2004: 0.23 new, 0.68 worn in, dry; the lower end, greased, is a guess",
        ),
        Assumed(
            name="friction-steel-polymer-press",
            value=0.20,
            low=0.10,
            high=0.35,
            unit="1",
            basis="from memory, no source",
        ),
        Assumed(
            name="friction-other-press",
            value=0.15,
            low=0.05,
            high=0.35,
            unit="1",
            basis="a pair without an entry: no source, the range covers those with one",
        ),
        Assumed(
            name="break-out-ratio",
            value=1.3,
            low=1.2,
            high=1.5,
            unit="1",
            basis="friction at break-out over friction while pressing in; from memory",
        ),
        Assumed(
            name="wetted-share",
            value=0.8,
            low=0.7,
            high=0.95,
            unit="1",
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
            basis="strength of a retaining grade on aluminium over that on steel; from memory",
        ),
        Assumed(
            name="bond-substrate-anodised",
            value=0.55,
            low=0.4,
            high=0.7,
            unit="1",
            basis="on anodised or passive surfaces over that on steel; from memory",
        ),
        Assumed(
            name="bond-gap-loss",
            value=1.0,
            low=0.0,
            high=2.0,
            unit="1",
            basis="scales how far strength falls with the gap (0.85 at 0.10 mm, 0.65 at 0.15, 0.4 "
            "at 0.25): an assumption, data sheets show that order for the speed of cure only",
        ),
        Assumed(
            name="bond-share-pressed",
            value=0.0,
            low=0.0,
            high=1.0,
            unit="1",
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
            basis="share of the strength lost per kelvin above 20 °C; from memory, weak",
        ),
        Assumed(
            name="outward-share-type-ii",
            value=0.33,
            low=0.30,
            high=0.55,
            unit="1",
            basis="growth over film thickness per surface: one third (anodiser's page); some shops "
            "count one half",
        ),
        Assumed(
            name="outward-share-type-iii",
            value=0.50,
            low=0.30,
            high=0.55,
            unit="1",
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
            basis="share of the outward growth scraped or crushed at press-in; range from memory, "
            "mid value taken",
        ),
        Assumed(
            name="axial-modulus-ratio",
            value=1.0,
            low=0.3,
            high=1.0,
            unit="1",
            basis="E_axial/E_hoop of a composite shell whose axial modulus is not stated: the "
            "in-plane value is taken; a hoop-biased laminate has about 0.3",
        ),
        Assumed(
            name="interlaminar-compliance",
            value=1.0,
            low=1.0,
            high=1.25,
            unit="1",
            basis="factor on the compliance of a composite shell wider than its ring: plies shear "
            "against one another, which the formula leaves out; own finite elements with 3.5 GPa "
            "gave 1.05 at the shell's end to 1.27 in its middle",
        ),
        Assumed(
            name="bond-coupling",
            value=1.0,
            low=0.0,
            high=1.0,
            unit="1",
            basis="how far sleeve and shell bend as one section through the adhesive: 1 wholly, 0 "
            "as if they slid; a soft or thick bond line shears and lies between",
        ),
        Assumed(
            name="kohlrausch-exponent",
            value=0.6,
            low=0.3,
            high=0.7,
            unit="1",
            basis="stretched exponential of settling; from memory",
        ),
        Assumed(
            name="kohlrausch-time",
            value=36.0,
            low=12.0,
            high=96.0,
            unit="h",
            basis="practice gauges plastics at 16 to 72 h and again after 3 to 4 days; no source",
        ),
        Assumed(
            name="relaxation-polymer",
            value=0.06,
            low=0.04,
            high=0.10,
            unit="1",
            basis="E ~ t^-n of POM, PA66-GF and unfilled PA; from memory (0.0264 for PC follows "
            "from a maker's creep figures)",
        ),
        Assumed(
            name="relaxation-epoxy",
            value=0.035,
            low=0.02,
            high=0.05,
            unit="1",
            basis="E ~ t^-n of an epoxy bond; from memory",
        ),
        Assumed(
            name="relaxation-cfrp-hoop",
            value=0.005,
            low=0.002,
            high=0.010,
            unit="1",
            basis="E ~ t^-n along fibres; from memory",
        ),
        Assumed(
            name="relaxation-cfrp-radial",
            value=0.03,
            low=0.02,
            high=0.04,
            unit="1",
            basis="E ~ t^-n across fibres; from memory",
        ),
        Assumed(
            name="settling-aluminium",
            value=0.00006,
            low=0.0,
            high=0.000125,
            unit="1",
            basis="share of the diameter after unclamping, 0 to 5 µm on 40 mm; from memory, weak",
        ),
        Assumed(
            name="settling-cfrp",
            value=0.00015,
            low=0.00005,
            high=0.0003,
            unit="1",
            basis="share of the diameter in the first days after cure or boring; from memory, weak",
        ),
        Assumed(
            name="settling-pom",
            value=0.002,
            low=0.001,
            high=0.003,
            unit="1",
            basis="shrinkage after moulding, share of the diameter; from memory (0.00125 in the "
            "first two days of one acetal part is published)",
        ),
        Assumed(
            name="swelling-pa66-gf-hoop",
            value=0.0025,
            low=0.002,
            high=0.003,
            unit="1",
            basis="growth along the fibres from dry to 50 % relative humidity; from memory",
        ),
        Assumed(
            name="swelling-pa66-gf-radial",
            value=0.0065,
            low=0.005,
            high=0.008,
            unit="1",
            basis="growth across the fibres from dry to 50 % relative humidity; from memory",
        ),
        Assumed(
            name="moisture-pa66-gf",
            value=0.017,
            low=0.014,
            high=0.020,
            unit="1",
            basis="moisture PA66-GF30 takes up from dry to 50 % relative humidity, by mass; from "
            "memory",
        ),
        Assumed(
            name="swelling-cfrp-hoop",
            value=0.040,
            low=0.02,
            high=0.06,
            unit="1",
            basis="strain per moisture taken up, quasi-isotropic, computed from a published ply; "
            "the range is a guess",
        ),
        Assumed(
            name="swelling-cfrp-radial",
            value=0.4,
            low=0.2,
            high=0.6,
            unit="1",
            basis="strain through the thickness per moisture taken up; from memory",
        ),
        Assumed(
            name="thread-friction",
            value=0.15,
            low=0.10,
            high=0.25,
            unit="1",
            basis="greased fine thread, steel or alloy on alloy; from memory",
        ),
        Assumed(
            name="flange-friction",
            value=0.15,
            low=0.10,
            high=0.25,
            unit="1",
            basis="under the flange of a screwed sleeve, greased; from memory",
        ),
        Assumed(
            name="removal-retention",
            value=0.85,
            low=0.6,
            high=1.0,
            unit="1",
            basis="share of the interference kept at each removal and refit; from memory, weak",
        ),
    )
}
