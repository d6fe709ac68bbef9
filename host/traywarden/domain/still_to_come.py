"""How many seedlings of a batch can still be expected, by how it has come up so far."""

from functools import lru_cache

import numpy as np
from scipy import special

from traywarden.domain.looks import SEED_LOG_SD
from traywarden.domain.series import FloatArray

SPREADS: FloatArray = np.array([0.7, 1.0, 1.4, 2.0])
"""A batch's spread of ln(time), as times the usual: those of one sowing's outlook (`looks`), and twice the
usual, as cold and warm days pull the seedlings of a batch apart beside the seeds themselves."""
WEIGHTS: FloatArray = np.array([0.2, 0.4, 0.2, 0.2])
"""How likely each is beforehand (no source)."""
TIMES_UNKNOWN = 5.0
"""Where nobody wrote down how many were sown: so many times those that are up (no source)."""
_SHARES: FloatArray = (np.arange(30) + 0.5) / 30
_MIDDLES: FloatArray = np.linspace(-3.0, 2.0, 121)
"""The day on which half are up lies between a twentieth of the days watched and seven times as many."""


@lru_cache(maxsize=4096)
def still_to_come(days_d: tuple[float, ...], newly_up: tuple[float, ...], sown: int | None) -> float:
    """Seedlings that can still be expected after the last count.

    Parameters
    ----------
    days_d : tuple of float [d since sowing]
        Of each count, rising.
    newly_up : tuple of float
        Seedlings each count found that were not up at the one before.
    sown : int, optional
        Seeds in all; None where that is not known.

    Returns
    -------
    float; 0 where every seed is up

    Notes
    -----
    A seed that comes up at all is up by day t with chance Φ(ln(t / m) / s). The day m at which half are up is
    anywhere (flat in ln m), the spread s one of four about the usual, and the share of the seeds that come up
    at all anything from none to all (flat). The counts speak for some of these: as multinomial between two
    visits, with the seeds that are not up yet. Over what they leave open, the mean of
    (sown − up)·g(1 − F)/(1 − gF), F the chance at the last count. So few up of many sown speak for more to
    come until it has been quiet for long, and a quiet day in the middle does not speak for the end. Where the
    seeds are not known, five times as many as are up.

    What it cannot see: seed that rests and comes in a second flush, and a cold spell about to end.

    References
    ----------
    As `looks.log_likelihood`; seeds that never come: Boag 1949, J. R. Stat. Soc. B 11:15 [from memory].

    Examples
    --------
    >>> round(still_to_come((7.0, 8.0), (1, 0), 80))  # one up, and none the day after
    13
    >>> round(still_to_come((6.0, 7.0, 8.0, 9.0, 12.0), (8, 20, 9, 3, 0), 80), 1)
    0.0
    """
    up = float(sum(newly_up))
    if sown is not None and up >= sown:
        return 0.0
    log_d = np.log(np.maximum(days_d, 1e-3))
    middle_log_d = log_d[-1] + _MIDDLES
    apart = (log_d[None, None, :] - middle_log_d[None, :, None]) / SEED_LOG_SD
    by: FloatArray = special.ndtr(apart / SPREADS[:, None, None])
    part = np.diff(by, axis=2, prepend=0.0)
    new = np.asarray(newly_up, dtype=np.float64)
    some = new > 0
    likely = np.log(WEIGHTS)[:, None] + (new[some] * np.log(np.maximum(part[:, :, some], 1e-300))).sum(axis=2)
    end = by[:, :, -1]
    share = _SHARES[:, None, None]
    left = (up * TIMES_UNKNOWN if sown is None else sown) - up
    likely = likely + up * np.log(share) + left * np.log1p(-share * end)
    weight = np.exp(likely - likely.max())
    rest = left * share * (1 - end) / (1 - share * end)
    return float((weight * rest).sum() / weight.sum())
