"""What dated counts say about a batch: how many, how soon, how evenly. The published figures by name."""

import math
from dataclasses import dataclass, fields

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class GerminationMetrics:
    """Figures of one batch as they are published; None where nothing came up or too little is known.

    Times [d] since sowing are those of the counts: a seed counts as up when it was first seen. Those that
    need the number of seeds sown are None without it. `docs/batches.md` gives each formula and its source.
    """

    counted: int
    sown: int | None
    germination_pct: float | None
    first_d: float | None
    last_d: float | None
    spread_d: float | None
    peak_d: float | None
    t50_coolbear_d: float | None
    t50_farooq_d: float | None
    t50_of_sown_d: float | None
    t10_d: float | None
    t90_d: float | None
    mean_d: float | None
    variance_d2: float | None
    standard_error_d: float | None
    cv_index: float | None
    mean_rate_per_day: float | None
    velocity_index: float | None
    t50_coolbear_rate_per_day: float | None
    t50_farooq_rate_per_day: float | None
    speed_per_day: float | None
    speed_pct_per_day: float | None
    accumulated_speed_per_day: float | None
    corrected_speed_per_day: float | None
    germination_index: float | None
    modified_germination_index: float | None
    emergence_rate_index: float | None
    modified_emergence_rate_index: float | None
    bilbro_wanjura_index: float | None
    uniformity_index: float | None
    synchrony_index: float | None
    uncertainty_bits: float | None
    timson_index: float | None
    labouriau_index: float | None
    khan_ungar_index: float | None
    george_index: float | None
    weighted_germination_pct: float | None
    mean_germination_pct: float | None
    peak_value_index: float | None
    germination_value_index: float | None


_FIGURES = tuple(f.name for f in fields(GerminationMetrics) if f.name not in ("counted", "sown"))


def germination_metrics(day_d: ArrayLike, newly_up: ArrayLike, sown: int | None = None) -> GerminationMetrics:
    """Every figure of one batch.

    Parameters
    ----------
    day_d : array, shape (n,) [d] since sowing, rising, above 0: when it was counted
    newly_up : array, shape (n,), whole numbers ≥ 0: seedlings seen for the first time at that count
    sown : int or None, seeds sown

    Returns
    -------
    GerminationMetrics

    Notes
    -----
    With x new seedlings at time t, N in all, of S sown, last count at T: mean Σxt/N; variance
    Σx(t−mean)²/(N−1); uniformity N/Σx(t−mean)²; synchrony Σx(x−1)/(N(N−1)); uncertainty −Σf·log2 f with
    f = x/N; T50 by a straight line between the two counts around (N+1)/2 (Coolbear) or N/2 (Farooq).
    Variance, uniformity, synchrony and uncertainty depend on how often it was counted: compare them only
    between batches counted alike. Timson's, Labouriau's, Khan & Ungar's, the mean and the accumulated figures
    sum over counts, and suppose that it was counted at even steps from the first day on.

    Raises
    ------
    ValueError if the days do not rise from above 0, counts are below 0, or more came up than were sown.

    References
    ----------
    Formulas and worked example: the germinationmetrics documentation, which names the origin of each
    (Coolbear et al. 1984; Farooq et al. 2005; Maguire 1962; Ranal & Santana 2006; Primack 1985; Czabator
    1962 …); see docs/batches.md.

    Examples
    --------
    >>> found = germination_metrics([2, 3, 4, 5], [3, 10, 6, 1], 25)
    >>> found.germination_pct, found.mean_d, found.t50_farooq_d
    (80.0, 3.25, 2.7)
    """
    t, x = _checked(day_d, newly_up, sown)
    n = int(x.sum())
    if n == 0:
        none_up = 0.0 if sown else None
        blank: dict[str, None] = dict.fromkeys(_FIGURES)
        return GerminationMetrics(0, sown, **{**blank, "germination_pct": none_up})
    end_d, up = float(t[-1]), np.cumsum(x)
    seen = t[x > 0]
    mean_d = float(x @ t) / n
    squares = float(x @ (t - mean_d) ** 2)
    variance = squares / (n - 1) if n > 1 else None
    share = x[x > 0] / n
    coolbear_d, farooq_d = reached_d(t, x, (n + 1) / 2), reached_d(t, x, n / 2)
    speed = float((x / t).sum())
    to_go = float(x @ (end_d - t))
    return GerminationMetrics(
        counted=n,
        sown=sown,
        germination_pct=_of(100 * n, sown),
        first_d=float(seen[0]),
        last_d=float(seen[-1]),
        spread_d=float(seen[-1] - seen[0]),
        peak_d=float(t[int(np.argmax(x))]),
        t50_coolbear_d=coolbear_d,
        t50_farooq_d=farooq_d,
        t50_of_sown_d=reached_d(t, x, sown / 2) if sown else None,
        t10_d=reached_d(t, x, n * 0.1),
        t90_d=reached_d(t, x, n * 0.9),
        mean_d=mean_d,
        variance_d2=variance,
        standard_error_d=None if variance is None else math.sqrt(variance / n),
        cv_index=None if variance is None else math.sqrt(variance) / mean_d,
        mean_rate_per_day=1 / mean_d,
        velocity_index=100 / mean_d,
        t50_coolbear_rate_per_day=_of(1, coolbear_d),
        t50_farooq_rate_per_day=_of(1, farooq_d),
        speed_per_day=speed,
        speed_pct_per_day=_of(100 * speed, sown),
        accumulated_speed_per_day=float((up / t).sum()),
        corrected_speed_per_day=speed / n,
        germination_index=_of(to_go, sown),
        modified_germination_index=to_go / n,
        emergence_rate_index=to_go,
        modified_emergence_rate_index=to_go / n,
        bilbro_wanjura_index=n / mean_d,
        uniformity_index=n / squares if squares > 0 else None,
        synchrony_index=float((x * (x - 1)).sum()) / (n * (n - 1)) if n > 1 else None,
        uncertainty_bits=abs(float(share @ np.log2(share))),
        timson_index=_of(100 * float(up.sum()), sown),
        labouriau_index=float(up.sum()) / n,
        khan_ungar_index=_of(100 * float(up.sum()) / len(t), sown),
        george_index=to_go + n,
        weighted_germination_pct=_of(100 * (to_go + n) / end_d, sown),
        mean_germination_pct=_of(100 * n / len(t), sown),
        peak_value_index=_of(100 * float((up / t).max()), sown),
        germination_value_index=_of(1e4 * float((up / t).max()) * n / end_d, sown and sown * sown),
    )


def reached_d(day_d: Floats, newly_up: Floats, target: float) -> float | None:
    """When so many were up [d], by a straight line between the counts around it; None where never.

    Parameters
    ----------
    day_d, newly_up : arrays, shape (n,), as in `germination_metrics`
    target : float, number of seedlings, above 0

    Returns
    -------
    float [d] since sowing, or None

    Notes
    -----
    t = ti + (target − Ni)(tj − ti)/(Nj − Ni), Ni and Nj the numbers up at the counts just below and just at
    or above the target. Before the first count it is taken to begin with none at sowing.

    References
    ----------
    Coolbear, Francis & Grierson 1984, J. Exp. Bot. 35:1609; Farooq et al. 2005, J. Integr. Plant Biol.
    47:187.

    Examples
    --------
    >>> reached_d(np.array([4.0, 6.0]), np.array([10.0, 20.0]), 20.0)
    5.0
    """
    up = np.cumsum(newly_up)
    j = int(np.searchsorted(up, target - 1e-9))
    if j == len(up):
        return None
    before_d, before = (float(day_d[j - 1]), float(up[j - 1])) if j else (0.0, 0.0)
    return before_d + (target - before) * (float(day_d[j]) - before_d) / (float(up[j]) - before)


def _checked(day_d: ArrayLike, newly_up: ArrayLike, sown: int | None) -> tuple[Floats, Floats]:
    t, x = np.asarray(day_d, dtype=np.float64), np.asarray(newly_up, dtype=np.float64)
    if t.ndim != 1 or t.shape != x.shape or not t.size:
        raise ValueError("one number of seedlings is needed for each day counted")
    if not (t[0] > 0 and (np.diff(t) > 0).all()):
        raise ValueError("the days must rise from above 0")
    if (x < 0).any() or (x != np.round(x)).any():
        raise ValueError("newly up must be whole numbers, none below 0")
    if sown is not None and not (sown >= 1 and x.sum() <= sown):
        raise ValueError(f"{x.sum():g} cannot come up of {sown} sown")
    return t, x


def _of(value: float, whole: float | None) -> float | None:
    return value / whole if whole else None
