"""What cold a seedling bears: tender, half-hardy, hardy."""

from collections.abc import Sequence
from enum import StrEnum

from traywarden.domain.crops import Crop
from traywarden.domain.hardening import HALF_HARDY, HARDY, RULES
from traywarden.domain.lateness import WARM_SEASON_FROM_C


class Hardiness(StrEnum):
    HARDY = "hardy"
    HALF_HARDY = "half-hardy"
    TENDER = "tender"


HARDENED_NIGHTS = 3
"""So many nights of a week below its limit harden a plant (common practice, no source)."""
HARDENED_C = 2.0
"""It bears so much more than it has stood through (no source)."""


def hardened_c(limit_c: float, at_most_c: float, lows_c: Sequence[float]) -> float:
    """What a plant bears that has stood through cold nights: nobody need be told of one more like them.

    Parameters
    ----------
    limit_c : float [°C]
        What its class bears.
    at_most_c : float [°C]
        What the next hardier class bears: no plant becomes hardier than that.
    lows_c : sequence of float [°C]
        The lows of the nights of the last week that it stood through.

    Returns
    -------
    float [°C]

    Notes
    -----
    After three nights below its limit: 2 °C below the mildest of the three coldest.

    References
    ----------
    Common practice (hardening off), no source for the numbers.

    Examples
    --------
    >>> hardened_c(7.2, 0.0, [5.0, 6.0, 9.0]), hardened_c(7.2, 0.0, [5.0, 6.0, 4.0, 9.0])
    (7.2, 4.0)
    >>> hardened_c(0.0, -2.2, [-8.0, -9.0, -7.0])
    -2.2
    """
    coldest = sorted(lows_c)[:HARDENED_NIGHTS]
    if len(coldest) < HARDENED_NIGHTS or coldest[-1] >= limit_c:
        return limit_c
    return min(limit_c, max(at_most_c, round(coldest[-1] - HARDENED_C, 2)))


def hardiness(key: str, crop: Crop | None) -> Hardiness:
    """The class of a crop.

    Parameters
    ----------
    key : str
        Of the crop table.
    crop : Crop or None

    Returns
    -------
    Hardiness

    Notes
    -----
    By the table of hardening minima by class; a crop it does not list is tender where its seed wants 15 °C
    and more (common practice), and else taken for half-hardy: it is warned of frost.

    References
    ----------
    See domain/hardening.py.

    Example
    -------
    >>> hardiness("cabbage", None).value, hardiness("basil", None).value, hardiness("zinnia", None).value
    ('hardy', 'tender', 'half-hardy')
    """
    rules = RULES.get(key)
    if rules is not None:
        if rules[0] is HARDY:
            return Hardiness.HARDY
        return Hardiness.HALF_HARDY if rules[0] is HALF_HARDY else Hardiness.TENDER
    warm = crop is not None and crop.min_c is not None and crop.min_c >= WARM_SEASON_FROM_C
    return Hardiness.TENDER if warm else Hardiness.HALF_HARDY
