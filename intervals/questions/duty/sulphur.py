"""How much sulphur a gas carries, told as the diesel fuel that carries as much per unit of energy.

In: hydrogen sulphide and methane in a gas. Out: sulphur in per cent by mass of diesel fuel. Chemistry only; it judges nothing.
"""

from __future__ import annotations

SULPHUR_G_PER_MOL = 32.06
METHANE_KJ_PER_MOL = 802.3
"""Lower heating value of methane."""
DIESEL_MJ_PER_KG = 42.7
"""Lower heating value of diesel fuel."""
USUAL_METHANE_PCT = 60.0
"""Methane in biogas where neither log nor engine says how much."""


def diesel_sulphur_pct(h2s_ppm: float, methane_pct: float = USUAL_METHANE_PCT) -> float:
    """Return the sulphur of the diesel fuel that carries as much of it per MJ as a gas does.

    Every mole of hydrogen sulphide brings one of sulphur; the gas's energy is its methane's.

    Args:
        h2s_ppm: hydrogen sulphide, ppm by volume.
        methane_pct: methane, per cent by volume, above zero.

    Returns:
        Sulphur, per cent by mass.

    Source:
        Worked from molar mass and heating values: 1,000 ppmv in 60 % methane is 0.0666 g/MJ, diesel of 0.284 %.

    Example:
        >>> round(diesel_sulphur_pct(1000.0, 60.0), 3)
        0.284
    """
    g_per_mol = h2s_ppm * 1e-6 * SULPHUR_G_PER_MOL
    mj_per_mol = methane_pct / 100.0 * METHANE_KJ_PER_MOL / 1000.0
    return g_per_mol / mj_per_mol * DIESEL_MJ_PER_KG / 1000.0 * 100.0
