"""Places ranked by what is counted day by day, and where the record cannot tell two of them apart."""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations

import numpy as np

from traywarden.domain.bootstrap import RUNS, SEED, Interval
from traywarden.domain.daily_interval import daily_mean_interval
from traywarden.domain.series import FloatArray

LEAST_DAYS = 5
"""Fewer common days rank nothing (no source): a week's weather is one spell, a day's is none."""
DAY_H = (0.0, 24.0)
SAME_H = 0.5
"""Places that differ by surely less than this many hours a day are as good as the same (no source)."""


@dataclass(frozen=True, slots=True)
class Pair:
    """Two ranked places: hours a day by which `better` leads. `verdict` “better”, “same” or “cannot tell”."""

    better: str
    worse: str
    lead_h: Interval
    verdict: str


@dataclass(frozen=True, slots=True)
class Ranked:
    """One place of a ranking; `rank` is one more than the number of places that are surely better."""

    name: str
    rank: int
    hours_h: Interval


@dataclass(frozen=True, slots=True)
class Ranking:
    """Places, best first, over the days all of them were measured; who was left out and why."""

    ranked: tuple[Ranked, ...]
    pairs: tuple[Pair, ...]
    days: int
    left_out: tuple[tuple[str, str], ...]
    reason: str


def rank_places(
    names: Sequence[str],
    hours_h: Sequence[FloatArray],
    *,
    level: float = 0.95,
    runs: int = RUNS,
    seed: int = SEED,
) -> Ranking:
    """Rank places by hours a day.

    Parameters
    ----------
    names : of the places
    hours_h : for each place hours of each day [h], NaN where the day is blank; all of the same days
    level : how often all statements of the ranking together are meant to hold
    runs, seed : as in `daily_mean_interval`

    Returns
    -------
    Ranking

    Notes
    -----
    Only days on which every ranked place is known count, so that no place is ranked by better weather. A
    place with too few days is left out, and so is the one with the fewest days while there are fewer than
    five days in common. Every pair is compared by its daily differences. As the order was chosen by the same
    numbers, intervals of pairs are widened for the number of pairs (Bonferroni). A place's rank is one
    more than the number of places that are surely better; a place may be told apart from the first and not
    from the second.

    References
    ----------
    Bonferroni's inequality, e.g. Miller 1981, Simultaneous Statistical Inference; daily intervals as
    `daily_mean_interval`.

    Examples
    --------
    >>> days = np.array([5.0, 5.2, 4.9, 5.1, 5.3, 5.0])
    >>> found = rank_places(["bench", "frame", "shade"], [days, days + 4, days + 0.1])
    >>> [(p.name, p.rank) for p in found.ranked]
    [('frame', 1), ('shade', 2), ('bench', 2)]
    """
    kept = {n: np.asarray(h, np.float64) for n, h in enumerate(hours_h)}
    left_out: dict[int, str] = {}
    for n, hours in list(kept.items()):
        if (known := int(np.isfinite(hours).sum())) < LEAST_DAYS:
            left_out[n] = _few(known)
            del kept[n]
    while len(kept) > 1 and _common(kept).sum() < LEAST_DAYS:
        fewest = min(kept, key=lambda n: (np.isfinite(kept[n]).sum(), -n))
        left_out[fewest] = "hardly measured on the same days as the others"
        del kept[fewest]
    common = _common(kept) if kept else np.zeros(0, np.bool_)
    of_days = {n: hours[common] for n, hours in kept.items()}
    order = sorted(of_days, key=lambda n: (-of_days[n].mean(), n))
    count = max(len(order) * (len(order) - 1) // 2, 1)
    strict = 1 - (1 - level) / count
    pairs = {
        (a, b): _pair(names[a], names[b], of_days[a] - of_days[b], strict, runs, seed)
        for a, b in combinations(order, 2)
    }
    ranked: list[Ranked] = []
    for place, n in enumerate(order):
        surely_better = sum(pairs[before, n].verdict == "better" for before in order[:place])
        a_day = daily_mean_interval(of_days[n], level=level, runs=runs, seed=seed, bounds=DAY_H)
        ranked.append(Ranked(names[n], 1 + surely_better, a_day))
    return Ranking(
        tuple(ranked),
        tuple(pairs.values()),
        int(common.sum()) if kept else 0,
        tuple((names[n], why) for n, why in sorted(left_out.items())),
        "" if len(order) > 1 else "it takes two places measured on the same days to rank them",
    )


def _few(known: int) -> str:
    if not known:
        return "not measured"
    return f"{known} of the {LEAST_DAYS} whole days it takes"


def _common(kept: dict[int, FloatArray]) -> np.ndarray:
    return np.asarray(np.all([np.isfinite(hours) for hours in kept.values()], axis=0))


def _pair(better: str, worse: str, leads_h: FloatArray, level: float, runs: int, seed: int) -> Pair:
    most_h = DAY_H[1] - DAY_H[0]
    lead_h = daily_mean_interval(leads_h, level=level, runs=runs, seed=seed, bounds=(-most_h, most_h))
    if lead_h.low is None or lead_h.high is None:
        return Pair(better, worse, lead_h, "cannot tell")
    if lead_h.high < SAME_H and lead_h.low > -SAME_H:
        return Pair(better, worse, lead_h, "same")
    return Pair(better, worse, lead_h, "better" if lead_h.low > 0 else "cannot tell")
