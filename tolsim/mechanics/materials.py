"""Elastic and thermal constants of seat materials, each with where it comes from.

Cylindrical axes: hoop (theta), radial (r), axial (z). Constants hold at 20 °C and are used
unchanged over the stated range of temperature. A part may bring its own `Material`.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

__all__ = ["MATERIALS", "Material", "temperature_warnings"]

_MEMORY = "from memory"
_TABLE = "common handbook value, remembered; "


@dataclass(frozen=True, kw_only=True, slots=True)
class Material:
    r"""Linear elastic material, isotropic or cylindrically orthotropic.

    Moduli [MPa], expansion [1/K], strengths [MPa], temperatures [°C]. `poisson` is
    :math:`\nu_{\theta r}`: :math:`\varepsilon_r = -\nu_{\theta r}\sigma_\theta/E_\theta`;
    `poisson_hoop_axial` is :math:`\nu_{\theta z}` likewise. `hoop_allowable` is the hoop stress a
    fit may cause, `radial_tension` the tension across the layer, `proof_stress` where a metal
    yields; None where none is stated.
    `family` groups materials for friction (`tolsim.mechanics.friction`).

    Raises
    ------
    ValueError
        If a modulus is not positive or the compliance is not positive definite
        (:math:`\nu_{\theta r}^2 < E_\theta/E_r`).
    """

    name: str
    E_hoop: float
    E_radial: float
    poisson: float
    alpha_hoop: float
    alpha_radial: float
    E_axial: float | None = None
    poisson_hoop_axial: float | None = None
    hoop_allowable: float | None = None
    radial_tension: float | None = None
    proof_stress: float | None = None
    temperature_range: tuple[float, float] | None = None
    family: str = "other"
    confidence: str = "stated by the user"
    source: str = ""

    def __post_init__(self) -> None:
        moduli = [self.E_hoop, self.E_radial] + ([self.E_axial] if self.E_axial is not None else [])
        if not all(math.isfinite(e) and e > 0.0 for e in moduli):
            raise ValueError(f"{self.name}: moduli must be positive and finite, got {moduli}")
        if not self.poisson**2 < self.E_hoop / self.E_radial:
            raise ValueError(
                f"{self.name}: poisson² must be below E_hoop/E_radial, got {self.poisson}"
            )
        if not (math.isfinite(self.alpha_hoop) and math.isfinite(self.alpha_radial)):
            raise ValueError(f"{self.name}: expansion must be finite")
        if self.poisson_hoop_axial is not None:
            axial = self.E_axial if self.E_axial is not None else self.E_hoop
            if not self.poisson_hoop_axial**2 < self.E_hoop / axial:
                raise ValueError(
                    f"{self.name}: poisson_hoop_axial² must be below E_hoop/E_axial, "
                    f"got {self.poisson_hoop_axial}"
                )

    @property
    def isotropic(self) -> bool:
        """Whether hoop and radial stiffness and expansion are the same."""
        return self.E_hoop == self.E_radial and self.alpha_hoop == self.alpha_radial

    @property
    def axial_known(self) -> bool:
        """Whether the axial constants are stated or follow from isotropy."""
        return self.isotropic or (self.E_axial is not None and self.poisson_hoop_axial is not None)

    @staticmethod
    def of_isotropic(
        name: str,
        young: float,
        poisson: float,
        alpha: float,
        *,
        hoop_allowable: float | None = None,
        radial_tension: float | None = None,
        proof_stress: float | None = None,
        temperature_range: tuple[float, float] | None = None,
        family: str = "other",
        confidence: str = "stated by the user",
        source: str = "",
    ) -> Material:
        """An isotropic material from Young's modulus, Poisson's ratio and expansion.

        >>> Material.of_isotropic("steel", 206e3, 0.3, 12e-6).isotropic
        True
        """
        return Material(
            name=name,
            E_hoop=young,
            E_radial=young,
            poisson=poisson,
            alpha_hoop=alpha,
            alpha_radial=alpha,
            E_axial=young,
            poisson_hoop_axial=poisson,
            hoop_allowable=hoop_allowable,
            radial_tension=radial_tension,
            proof_stress=proof_stress,
            temperature_range=temperature_range,
            family=family,
            confidence=confidence,
            source=source,
        )


def temperature_warnings(
    name: str, material: Material, temperatures: Sequence[float]
) -> tuple[str, ...]:
    """Sentence for service temperatures [°C] outside the range of the constants, or nothing.

    >>> temperature_warnings("shell", MATERIALS["pom"], [20.0, 120.0])[0]
    'shell: constants of pom hold from -40 to 80 °C, the study asks for 120 °C'
    """
    if material.temperature_range is None:
        return ()
    low, high = material.temperature_range
    beyond = [t for t in temperatures if not low <= t <= high]
    if not beyond:
        return ()
    told = ", ".join(f"{t:g}" for t in beyond)
    return (
        f"{name}: constants of {material.name} hold from {low:g} to {high:g} °C, the study "
        f"asks for {told} °C",
    )


_iso = Material.of_isotropic

#: The built-in table, by name.
MATERIALS: dict[str, Material] = {
    m.name: m
    for m in (
        _iso(
            "bearing-steel", 208e3, 0.30, 11.9e-6, hoop_allowable=120.0, proof_stress=1700.0,
            temperature_range=(-40.0, 120.0), family="steel", confidence=_MEMORY,
            source=_TABLE + "100Cr6 (52100) hardened; expansion 11.9, handbooks also 12.5e-6; "
            "120 to 130 MPa hoop tension from the fit; proof stress 1700 to 2200 MPa",
        ),
        _iso(
            "steel-4130", 205e3, 0.29, 12.0e-6, hoop_allowable=435.0, proof_stress=435.0,
            temperature_range=(-40.0, 150.0), family="steel", confidence=_MEMORY,
            source=_TABLE + "normalised, Rp 435 to 460 MPa",
        ),
        _iso(
            "steel-s355", 210e3, 0.29, 12.0e-6, hoop_allowable=355.0, proof_stress=355.0,
            temperature_range=(-40.0, 150.0), family="steel", confidence=_MEMORY,
            source=_TABLE + "Rp 355 MPa is the grade's name (EN 10025-2)",
        ),
        _iso(
            "aluminium-6061-t6", 68.9e3, 0.33, 23.6e-6, hoop_allowable=240.0, proof_stress=240.0,
            temperature_range=(-40.0, 100.0), family="aluminium", confidence=_MEMORY,
            source=_TABLE + "Rp 240 MPa minimum, 276 typical",
        ),
        _iso(
            "aluminium-7075-t6", 71.7e3, 0.33, 23.4e-6, hoop_allowable=460.0, proof_stress=460.0,
            temperature_range=(-40.0, 100.0), family="aluminium", confidence=_MEMORY,
            source=_TABLE + "Rp 460 to 503 MPa",
        ),
        _iso(
            "titanium-6al-4v", 114e3, 0.34, 8.6e-6, hoop_allowable=830.0, proof_stress=830.0,
            temperature_range=(-40.0, 150.0), family="titanium", confidence=_MEMORY,
            source=_TABLE + "annealed, Rp 830 to 880 MPa",
        ),
        Material(
            name="cfrp-quasi-isotropic", E_hoop=60e3, E_radial=9e3, poisson=0.30,
            alpha_hoop=3.0e-6, alpha_radial=30e-6, E_axial=60e3, poisson_hoop_axial=0.30,
            hoop_allowable=350.0, radial_tension=30.0, temperature_range=(-40.0, 80.0),
            family="cfrp", confidence=_MEMORY,
            source="standard-modulus fibre, volume share 0.55 to 0.6: in plane 45 to 70 GPa and "
            "1.5 to 4e-6/K, across 8 to 10 GPa and 25 to 35e-6/K; hoop 350 to 500 MPa tension, "
            "across 30 to 50 MPa; remembered, mid values and lower strengths taken",
        ),
        Material(
            name="cfrp-hoop-biased", E_hoop=92e3, E_radial=9e3, poisson=0.30,
            alpha_hoop=0.4e-6, alpha_radial=30e-6, E_axial=30e3, poisson_hoop_axial=0.6,
            hoop_allowable=500.0, radial_tension=30.0, temperature_range=(-40.0, 80.0),
            family="cfrp", confidence=_MEMORY,
            source="hoop 80 to 105 GPa and -0.2 to 1e-6/K, axial 25 to 35 GPa, Poisson hoop to "
            "axial 0.6; remembered; the hoop strength depends on the laminate and is a guess",
        ),
        Material(
            name="pa66-gf30-dry", E_hoop=9.5e3, E_radial=9.5e3, poisson=0.38,
            alpha_hoop=25e-6, alpha_radial=70e-6, E_axial=9.5e3, poisson_hoop_axial=0.38,
            hoop_allowable=60.0, temperature_range=(-30.0, 80.0), family="polymer",
            confidence=_MEMORY,
            source="dry as moulded 9 to 10 GPa; 20 to 30e-6/K along the flow, 60 to 80e-6/K "
            "across; 60 to 80 MPa short time; remembered; flow taken along the hoop",
        ),
        Material(
            name="pa66-gf30-humid", E_hoop=6.5e3, E_radial=6.5e3, poisson=0.38,
            alpha_hoop=25e-6, alpha_radial=70e-6, E_axial=6.5e3, poisson_hoop_axial=0.38,
            hoop_allowable=60.0, temperature_range=(-30.0, 80.0), family="polymer",
            confidence=_MEMORY,
            source="at 50 % relative humidity 6 to 7 GPa; else as dry; remembered",
        ),
        _iso(
            "pom", 2.75e3, 0.38, 105e-6, hoop_allowable=25.0,
            temperature_range=(-40.0, 80.0), family="polymer", confidence=_MEMORY,
            source=_TABLE + "2.6 to 2.9 GPa, 100 to 110e-6/K, 25 to 30 MPa",
        ),
        _iso(
            "epoxy-adhesive", 2.5e3, 0.38, 60e-6, radial_tension=10.0,
            temperature_range=(-40.0, 80.0), family="adhesive", confidence=_MEMORY,
            source=_TABLE + "2 to 3.5 GPa, 50 to 70e-6/K; radial tension of a bond line is weakly "
            "known (3 to 20 MPa)",
        ),
        _iso(
            "retaining-adhesive", 1.0e3, 0.40, 100e-6, radial_tension=10.0,
            temperature_range=(-50.0, 120.0), family="adhesive", confidence=_MEMORY,
            source="anaerobic, cured: 0.5 to 2 GPa, 80 to 120e-6/K; remembered, weak",
        ),
        _iso(
            "anodic-film", 85e3, 0.22, 6e-6, temperature_range=(-40.0, 100.0), family="film",
            confidence=_MEMORY,
            source=_TABLE + "70 to 100 GPa, 5 to 7e-6/K; brittle",
        ),
    )
}  # fmt: skip
