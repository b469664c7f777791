"""Is a gauge fine enough for a band?"""

from __future__ import annotations

__all__ = ["gauge_note", "gauge_share"]

_MOST = 0.30  # common practice, no source
_SPREADS = 6.0


def gauge_share(gauge_sd: float, band: tuple[float, float]) -> float:
    r"""Share of a band that a gauge's repeatability takes, :math:`6 s_g / (U - L)`.

    >>> gauge_share(0.001, (-0.016, 0.004))
    0.3
    """
    if gauge_sd < 0.0 or not band[0] < band[1]:
        raise ValueError("needs a repeatability of at least 0 and a lower limit below the upper")
    return _SPREADS * gauge_sd / (band[1] - band[0])


def gauge_note(gauge_sd: float, band: tuple[float, float] | None) -> str | None:
    """What must be said of a gauge [mm] that takes too much of a band [mm]; else None.

    >>> gauge_note(0.001, (-0.016, 0.005)) is None
    True
    """
    if band is None or gauge_sd <= 0.0 or not band[0] < band[1]:
        return None
    share = gauge_share(gauge_sd, band)
    if share <= _MOST * (1.0 + 1e-12):
        return None
    return (
        f"the gauge takes {100.0 * share:.0f} % of the band (six standard deviations); above "
        f"{100.0 * _MOST:.0f} % it is not fit (common practice, no source)"
    )
