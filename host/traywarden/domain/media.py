"""Published figures of container media, at their printed precision; percent of volume."""

from dataclasses import dataclass

MEDIA_SOURCE = "Int. J. Agronomy 2012, 978528, Table 1 (porometer)"
GEOMETRY_SOURCE = "Bilderback & Fonteno 1987, J. Environ. Hort. 5(4):180"


@dataclass(frozen=True, slots=True)
class Medium:
    """One medium: air and water after drainage, and all pores [%], as measured in one kind of container."""

    name: str
    air_pct: float
    container_capacity_pct: float
    pores_pct: float


MEDIA = (
    Medium("Sphagnum peat", 11, 87, 98),
    Medium("Pine bark", 31, 48, 79),
    Medium("Clean chip residual 0.48 cm", 28, 57, 85),
    Medium("Clean chip residual 0.95 cm", 48, 42, 90),
)
"""See MEDIA_SOURCE."""
PEAT, BARK, FINE_CHIPS, COARSE_CHIPS = MEDIA
AIR_IN_POT_PCT, AIR_IN_CELL_PCT = 28, 12
WATER_IN_POT_PCT, WATER_IN_CELL_PCT = 43, 59
"""The same medium in a #1 pot and in a bedding-plant cell; see GEOMETRY_SOURCE."""


def coarser_words() -> str:
    """What a coarser medium does, in published numbers.

    Examples
    --------
    >>> coarser_words()[:70]
    'coarser media hold less water and more air: of chip residual the 0.95 '
    """
    return (
        f"coarser media hold less water and more air: of chip residual the 0.95 cm grade held "
        f"{COARSE_CHIPS.container_capacity_pct:.0f} % water and {COARSE_CHIPS.air_pct:.0f} % air, the 0.48 "
        f"cm grade {FINE_CHIPS.container_capacity_pct:.0f} and {FINE_CHIPS.air_pct:.0f} % ({MEDIA_SOURCE})"
    )


def finer_words() -> str:
    """What a fine, fibrous medium does, in published numbers.

    Examples
    --------
    >>> finer_words()[:60]
    'fine, fibrous media hold more water: sphagnum peat 87 %, pin'
    """
    return (
        f"fine, fibrous media hold more water: sphagnum peat {PEAT.container_capacity_pct:.0f} %, pine bark "
        f"{BARK.container_capacity_pct:.0f} % ({MEDIA_SOURCE})"
    )
