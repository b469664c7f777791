r"""Shell longer than the loaded band: the unloaded wall beside the bearing stiffens the seat.

The factor eta multiplies the shell's bore compliance. The wall is a beam on the elastic
foundation of its own hoop stiffness:

.. math:: \beta = \frac{[3\,(E_\theta/E_z)(1-\nu_{\theta z}\nu_{z\theta})]^{1/4}}{\sqrt{R_m t}}

Source: Timoshenko and Woinowsky-Krieger, *Theory of Plates and Shells*, ch. 15 (cylindrical
shells loaded symmetrically), integrated over the band. Set-up functions on plain floats.

A thick wall yields more than a beam, by shear and by local indentation: 1 % at the end and 6 % in
the middle of a wall of 4.5 mm under a band of 7 mm at a bore of 37 mm, three times as much in
all of a housing without limit. Where stiffness is the same in every direction the middle is exact
(`thick_wall`), and the end carries a factor that was fitted to axisymmetric finite elements.

The beam has no shear flexibility: a composite wall of 3.5 mm with an interlaminar shear modulus of
3.5 GPa under a band of 7 mm gives 0.57 (middle) and 0.84 (flush) in finite elements, 0.45 and 0.80
here. Its factor is a lower bound of the compliance, so the pressure is an upper one.
"""

from __future__ import annotations

import math

from tolsim.mechanics.assumptions import ASSUMED
from tolsim.mechanics.materials import Material
from tolsim.mechanics.thick_wall import band_factor

__all__ = ["axial_constants", "decay", "eta", "eta_end", "eta_mid", "is_plain", "validity"]


def axial_constants(material: Material) -> tuple[float, float]:
    """Axial modulus [MPa] and Poisson's ratio hoop to axial, in-plane values where not stated."""
    if material.E_axial is not None:
        axial = material.E_axial
    else:
        axial = material.E_hoop * ASSUMED["axial-modulus-ratio"].value
    nu = material.poisson_hoop_axial
    return axial, material.poisson if nu is None else nu


def decay(inner_radius: float, outer_radius: float, material: Material) -> float:
    """Decay number beta [1/mm] of bending along the wall.

    Raises
    ------
    ValueError
        Unless ``0 < inner_radius < outer_radius``.
    """
    if not 0.0 < inner_radius < outer_radius:
        raise ValueError(f"need 0 < inner_radius < outer_radius, got {inner_radius, outer_radius}")
    axial, nu = axial_constants(material)
    wall, mean = outer_radius - inner_radius, 0.5 * (outer_radius + inner_radius)
    # nu_zth = nu_thz E_z/E_th
    factor = 3.0 * (material.E_hoop / axial) * (1.0 - nu * nu * axial / material.E_hoop)
    return float(factor**0.25 / math.sqrt(mean * wall))


def _band(width: float, beta: float) -> tuple[float, float, float]:
    if not width > 0.0:
        raise ValueError(f"width must be positive, got {width}")
    b = beta * width
    c = 0.5 * (1.0 + math.exp(-b) * (math.sin(b) - math.cos(b)))
    return b, c, math.exp(-b) * math.sin(b)


def eta_mid(width: float, inner_radius: float, outer_radius: float, material: Material) -> float:
    r"""Factor for a band far from both ends of the shell, :math:`1 - C/(\beta L)`.

    Width of the band, radii of the wall [mm].

    >>> alloy = Material.of_isotropic("alloy", 68.9e3, 0.33, 23.6e-6)
    >>> eta_mid(7.0, 20.5, 23.0, alloy)
    0.5161908
    """
    b, c, _ = _band(width, decay(inner_radius, outer_radius, material))
    return 1.0 - c / b


def eta_end(width: float, inner_radius: float, outer_radius: float, material: Material) -> float:
    r"""Factor for a band flush with one end, :math:`1 - (C - C^2 - S^2/2)/(\beta L)`.

    >>> alloy = Material.of_isotropic("alloy", 68.9e3, 0.33, 23.6e-6)
    >>> eta_end(7.0, 20.5, 23.0, alloy)
    0.8322254
    """
    b, c, s = _band(width, decay(inner_radius, outer_radius, material))
    return 1.0 - (c - c * c - 0.5 * s * s) / b


def eta(
    width: float,
    inner_radius: float,
    outer_radius: float,
    material: Material,
    edge_distance: float = 0.0,
) -> float:
    r"""Factor for a band whose edge is `edge_distance` [mm] from the shell's end.

    .. math:: \eta(x) = \eta_{mid} + (\eta_{end} - \eta_{mid})\,e^{-4\beta x}

    The exponent is a fit to axisymmetric finite elements of one shell (2.5 mm wall, 7 mm band). For
    a wall as stiff in every direction the whole lies within 5 % of them up to a wall of half the
    bore's diameter and within 13 % up to all of it, bands of 0.1 to 0.55 diameters.

    Parameters
    ----------
    width : float
        Width of the part that bears on the shell [mm].
    inner_radius, outer_radius : float
        Radii of the wall [mm].
    material : Material
        Its constants; axial ones where stated, else the in-plane ones.
    edge_distance : float
        From the edge of the band to the nearer end of the shell [mm]; 0 is flush.

    Raises
    ------
    ValueError
        If a length is not positive or the distance negative.

    >>> alloy = Material.of_isotropic("alloy", 68.9e3, 0.33, 23.6e-6)
    >>> [round(eta(7.0, 20.5, 23.0, alloy, x), 2) for x in (0.0, 2.0, 4.0, 7.0)]
    [0.83, 0.6, 0.55, 0.53]
    """
    if not edge_distance >= 0.0:
        raise ValueError(f"edge_distance must not be negative, got {edge_distance}")
    if is_plain(material):
        mid = band_factor(width, inner_radius, outer_radius, material.poisson)
        end = _thick_end(width, inner_radius, outer_radius, material)
    else:
        mid = eta_mid(width, inner_radius, outer_radius, material)
        end = eta_end(width, inner_radius, outer_radius, material)
    beta = decay(inner_radius, outer_radius, material)
    return mid + (end - mid) * math.exp(-4.0 * beta * edge_distance)


def is_plain(material: Material) -> bool:
    """Whether stiffness is the same in all three directions."""
    axial, nu = axial_constants(material)
    return material.E_hoop == material.E_radial == axial and nu == material.poisson


def _thick_end(width: float, inner_radius: float, outer_radius: float, material: Material) -> float:
    """The beam's factor at the end, with what shear and local indentation add in a thick wall."""
    wall = outer_radius - inner_radius
    thick = wall / inner_radius
    more = 1.0 + 0.077 * thick / (1.0 + 0.39 * thick) * wall / width
    return min(1.0, more * eta_end(width, inner_radius, outer_radius, material))


def validity(
    width: float,
    inner_radius: float,
    outer_radius: float,
    material: Material,
    edge_distance: float = 0.0,
    shell_length: float | None = None,
) -> tuple[str, ...]:
    """Sentences where the factor is used outside what it was checked for; empty inside.

    A laminate's beam was checked for beta L above 0.8, bands on other walls from 0.1 diameters.

    >>> alloy = Material.of_isotropic("alloy", 68.9e3, 0.33, 23.6e-6)
    >>> validity(7.0, 20.5, 23.0, alloy)
    ()
    """
    beta = decay(inner_radius, outer_radius, material)
    out: list[str] = []
    if is_plain(material):
        if width < 0.1 * 2.0 * inner_radius:
            out.append(
                f"finite width: the seat, {width:g} mm wide, is narrower than a tenth of its bore; "
                "its factor was not compared with finite elements"
            )
    elif beta * width < 0.8:
        out.append(
            f"finite width: beta L = {beta * width:.2f} is below 0.8; the factor may be "
            "3 % low at the shell's end and 13 % low in its middle"
        )
    if shell_length is not None and shell_length - width - edge_distance < 1.0 / beta:
        out.append(
            f"finite width: the shell, {shell_length:g} mm long, leaves less than "
            f"{1.0 / beta:.1f} mm of wall beyond the seat; it is softer than the factor says"
        )
    if not material.axial_known:
        out.append(
            f"{material.name}: no axial modulus or Poisson's ratio stated; "
            "the in-plane values are taken for the finite width"
        )
    return tuple(out)
