"""Steps that tie features, parts or a lot together: they keep latent rows of their own.

Everything here works per draw on rows and can be recorded. Lengths in mm.
"""

from __future__ import annotations

from dataclasses import dataclass, field

from tolsim.process.base import Process
from tolsim.process.plain import Fixed
from tolsim.record import Array

__all__ = ["SharedFilm", "lot_sized"]


def _whole() -> Process:
    return Fixed(value=1.0)


@dataclass(frozen=True, kw_only=True, slots=True)
class SharedFilm:
    r"""One film on two surfaces of one part: a thick film makes the bore small and the outside big.

    .. math:: d' = d - 2 g t e_1,\qquad D' = D + 2 g t e_2

    Parameters
    ----------
    film : Process
        Thickness t of the bath's film on this part [mm], one draw a part.
    outward : Process
        Share g that grows outward, one draw a part; `Fixed` where it is known.
    bore_share, outside_share : Process
        Local thickness over the part's (e_1, e_2), near 1; a deep bore takes less. Each surface
        has a row of its own where they scatter.
    """

    film: Process
    outward: Process
    bore_share: Process = field(default_factory=_whole)
    outside_share: Process = field(default_factory=_whole)

    def growth(self, z_film: Array, z_outward: Array) -> Array:
        """Change of a diameter by the film on both sides, 2 g t [mm]."""
        return 2.0 * self.outward.size(z_outward) * self.film.size(z_film)

    def sizes(
        self,
        bore: Array,
        outside: Array,
        *,
        z_film: Array,
        z_outward: Array,
        z_bore: Array,
        z_outside: Array,
    ) -> tuple[Array, Array]:
        """Bore and outside once coated [mm]; the last two rows are those of the local shares."""
        growth = self.growth(z_film, z_outward)
        return (
            bore - growth * self.bore_share.size(z_bore),
            outside + growth * self.outside_share.size(z_outside),
        )


def lot_sized(size: Array, between_sd: float, z_lot: Array) -> Array:
    """Size [mm] of a part of a lot: `size` about the process mean, moved as its whole lot is.

    The row `z_lot` is shared by all parts of a lot (and by both seats of a unit made in one lot).
    """
    return size + between_sd * z_lot
