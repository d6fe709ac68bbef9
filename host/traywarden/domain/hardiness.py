"""What cold a seedling bears: tender, half-hardy, hardy."""

from enum import StrEnum

from traywarden.domain.crops import Crop
from traywarden.domain.hardening import HALF_HARDY, HARDY, RULES
from traywarden.domain.lateness import WARM_SEASON_FROM_C


class Hardiness(StrEnum):
    HARDY = "hardy"
    HALF_HARDY = "half-hardy"
    TENDER = "tender"


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
