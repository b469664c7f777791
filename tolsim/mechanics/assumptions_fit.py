"""Remembered constants of the fit: smoothing, friction, creep, shells, threads, removals."""

from __future__ import annotations

from tolsim.mechanics.assumed import Assumed

__all__ = ["FIT"]

FIT: tuple[Assumed, ...] = (
    Assumed(
        name="smoothing-factor",
        value=0.8,
        low=0.4,
        high=0.8,
        unit="1",
        most=2.0,
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
        least=0.001,
        most=2.0,
        basis="bearing steel on a steel seat, light oil: 0.12 in, 0.18 out (bearing handbooks, "
        "from memory); 0.06 to 0.11 in DIN 7190-1, partly from memory",
    ),
    Assumed(
        name="friction-steel-aluminium-press",
        value=0.12,
        low=0.05,
        high=0.15,
        unit="1",
        least=0.001,
        most=2.0,
        basis="DIN 7190-1: axial 0.07 dry, 0.05 oiled (from memory); shrink fit 0.10 to 0.15",
    ),
    Assumed(
        name="friction-steel-titanium-press",
        value=0.08,
        low=0.05,
        high=0.15,
        unit="1",
        least=0.001,
        most=2.0,
        basis="DIN 7190-1: 0.05 oiled, from memory; the upper end is a guess",
    ),
    Assumed(
        name="friction-steel-cfrp-press",
        value=0.15,
        low=0.08,
        high=0.30,
        unit="1",
        least=0.001,
        most=2.0,
        basis="0.08 to 0.12 greased, 0.15 to 0.30 dry, from memory",
    ),
    Assumed(
        name="friction-aluminium-cfrp-press",
        value=0.23,
        low=0.12,
        high=0.68,
        unit="1",
        least=0.001,
        most=2.0,
        basis="Schoen 2004: 0.23 new, 0.68 worn in, dry; the lower end, greased, is a guess",
    ),
    Assumed(
        name="friction-steel-polymer-press",
        value=0.20,
        low=0.10,
        high=0.35,
        unit="1",
        least=0.001,
        most=2.0,
        basis="from memory, no source",
    ),
    Assumed(
        name="friction-other-press",
        value=0.15,
        low=0.05,
        high=0.35,
        unit="1",
        least=0.001,
        most=2.0,
        basis="a pair without an entry: no source, the range covers those with one",
    ),
    Assumed(
        name="break-out-ratio",
        value=1.3,
        low=1.2,
        high=1.5,
        unit="1",
        least=0.1,
        most=10.0,
        basis="friction at break-out over friction while pressing in; from memory",
    ),
    Assumed(
        name="axial-modulus-ratio",
        value=1.0,
        low=0.3,
        high=1.0,
        unit="1",
        least=0.01,
        basis="E_axial/E_hoop of a composite shell whose axial modulus is not stated: the "
        "in-plane value is taken; a hoop-biased laminate has about 0.3",
    ),
    Assumed(
        name="interlaminar-compliance",
        value=1.0,
        low=1.0,
        high=1.25,
        unit="1",
        least=1.0,
        basis="factor on the compliance of a composite shell wider than its ring: plies shear "
        "against one another, which the formula leaves out; own finite elements with 3.5 GPa "
        "gave 1.05 at the shell's end to 1.27 in its middle",
    ),
    Assumed(
        name="thread-friction",
        value=0.15,
        low=0.10,
        high=0.25,
        unit="1",
        least=0.001,
        most=2.0,
        basis="greased fine thread, steel or alloy on alloy; from memory",
    ),
    Assumed(
        name="flange-friction",
        value=0.15,
        low=0.10,
        high=0.25,
        unit="1",
        least=0.001,
        most=2.0,
        basis="under the flange of a screwed sleeve, greased; from memory",
    ),
    Assumed(
        name="removal-retention",
        value=0.85,
        low=0.6,
        high=1.0,
        unit="1",
        least=0.01,
        most=1.0,
        basis="share of the interference kept at each removal and refit; from memory, weak",
    ),
)
