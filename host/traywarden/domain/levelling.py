"""From which watering on a tray stands level that stood out of level before."""

from collections.abc import Callable

import numpy as np
from numpy.typing import ArrayLike, NDArray

from traywarden.domain.series import FloatArray

WasOut = Callable[[FloatArray], bool]
IN_A_ROW = 3
"""So many waterings in a row tell that it was put level, or is out of level again (no source)."""


def put_level_from(differences_pct: ArrayLike, was_out: WasOut) -> int:
    """The first watering from below after a tray was put level, where nobody wrote that down.

    Parameters
    ----------
    differences_pct : array, shape (n,) [% of container capacity]
        How two ends differed after each watering from below beyond what they always do, oldest first.
    was_out : function of the differences before a watering
        Whether they show the tray out of level.

    Returns
    -------
    int
        Index of that watering; 0 where all of them count alike.

    Notes
    -----
    What came before must show the tray out of level by the full rule. Halfway is half the median of that.
    Three waterings in a row on the near side of halfway tell that it was put level then; three in a row
    beyond it, later, that it was not, or is out of level again: then all count. One watering alone tells
    nothing, so what wavers changes nothing. Only a change towards level is sought.

    References
    ----------
    This project's own; `python -m tests.figures level` prints how often it is right.

    Examples
    --------
    >>> out = lambda before: before.size >= 6
    >>> put_level_from([-9, -8, -9, -9, -8, -9, -1, 0, -1], out), put_level_from([-9] * 6 + [-1, 0], out)
    (6, 0)
    """
    series = np.asarray(differences_pct, np.float64)
    for first in range(IN_A_ROW, series.size - IN_A_ROW + 1):
        middle = float(np.median(series[:first]))
        near = np.sign(middle) * series < abs(middle) / 2
        if near[first : first + IN_A_ROW].all() and not near[first - 1] and was_out(series[:first]):
            return first if _last_said(near[first:]) else 0
    return 0


def _last_said(near: NDArray[np.bool_]) -> bool:
    """What the newest run that is long enough says; the first is one that says near."""
    said, run = True, 0
    for n, each in enumerate(near.tolist()):
        run = run + 1 if n and each == near[n - 1] else 1
        if run >= IN_A_ROW:
            said = each
    return said
