"""Two groups of trays, each tray one number: how far their means lie apart."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy import special

from traywarden.domain.proportions import LEVEL


@dataclass(frozen=True, slots=True)
class GroupDifference:
    """Mean of the first group minus mean of the second, in the unit of the values.

    `low`, `high` and `p_value` are None where a group has fewer than two trays; `reason` says so.
    """

    a_trays: int
    b_trays: int
    estimate: float
    low: float | None
    high: float | None
    p_value: float | None
    reason: str = ""


def holm(p_values: Sequence[float]) -> list[float]:
    """P values of several comparisons, made larger so that all together err only as often as one.

    Parameters
    ----------
    p_values : each 0 … 1

    Returns
    -------
    list of float, in the same order

    References
    ----------
    Holm 1979, Scand. J. Stat. 6:65.

    Examples
    --------
    >>> holm([0.01, 0.04, 0.03])
    [0.03, 0.06, 0.06]
    """
    adjusted, highest = [0.0] * len(p_values), 0.0
    for rank, which in enumerate(sorted(range(len(p_values)), key=lambda k: p_values[k])):
        highest = max(highest, min(1.0, (len(p_values) - rank) * p_values[which]))
        adjusted[which] = highest
    return adjusted


def group_difference(
    values: Sequence[float], other_values: Sequence[float], level: float = LEVEL
) -> GroupDifference | None:
    """Difference of the means of two groups of trays, by Welch's t test.

    Parameters
    ----------
    values, other_values : one number for each tray of a group, in one unit; finite
    level : float, 0 … 1

    Returns
    -------
    GroupDifference, or None where a group is empty

    Notes
    -----
    The tray is what was treated, so the tray counts, not its seeds: luck that a whole tray shares is then
    part of the error. With two or three trays a side the interval is wide, and rightly so. It supposes that
    trays scatter about their group's mean much like a bell curve. Where no tray of either group differs from
    its neighbours, nothing can be said of the scatter, and there is no interval.

    References
    ----------
    Welch 1947, Biometrika 34:28; Hurlbert 1984, Ecol. Monogr. 54:187 (the unit that is treated).

    Examples
    --------
    >>> found = group_difference([0.9, 0.85, 0.95], [0.6, 0.7, 0.65])
    >>> round(found.estimate, 2), found.p_value < 0.01
    (0.25, True)
    """
    first, second = (np.asarray(side, dtype=np.float64) for side in (values, other_values))
    if not first.size or not second.size:
        return None
    estimate = float(first.mean() - second.mean())
    few = min(first.size, second.size) < 2
    errors = [] if few else [float(side.var(ddof=1)) / side.size for side in (first, second)]
    if few or not sum(errors) > 0:
        reason = "one tray on a side says nothing of how trays differ" if few else "no scatter between trays"
        return GroupDifference(first.size, second.size, estimate, None, None, None, reason)
    freedom = sum(errors) ** 2 / sum(
        error**2 / (side.size - 1) for error, side in zip(errors, (first, second), strict=True)
    )
    error = sum(errors) ** 0.5
    reach = float(special.stdtrit(freedom, 0.5 + level / 2)) * error
    p_value = 2 * float(special.stdtr(freedom, -abs(estimate) / error))
    return GroupDifference(first.size, second.size, estimate, estimate - reach, estimate + reach, p_value)
