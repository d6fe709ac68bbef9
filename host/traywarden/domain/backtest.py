"""Outlooks asked into the garden's own past, against what really came."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from traywarden.domain.drying import Drying
from traywarden.domain.foresight import Remembered, remember
from traywarden.domain.outlook_cases import Cases, cases_before, rolling_cases
from traywarden.domain.spread import LEVEL, Learning, Spread, spread_of

Floats = NDArray[np.float64]

DAY_BEFORE_H = 24.0


@dataclass(frozen=True, slots=True, eq=False)
class History:
    """The dry-downs of one head in one mix, oldest first. Heads with the same `mix` learn from each other."""

    name: str
    mix: str
    dryings: Sequence[Drying]


@dataclass(frozen=True, slots=True)
class Score:
    """How good outlooks were. Errors are medians of |foreseen − true| as a part of the true time.

    `coverage`: part of the cases in which the true time lay in the 80 % interval; `sooner`, `later`: before
    and after it. `width` is that of the interval as a part of the foreseen time, at the median. `pinball` is
    the mean loss of the 10 %, 50 % and 90 % points as a part of the mean true time: less is better.
    `median_error_of_dry_down`: of the time from the wetting to the crossing. `bias` is above zero where
    outlooks come too late. `…_ratio` is how many times as far off the naive ways are on the cases that both
    answer: “same rate as the last day” and “as long as last time”. None where there is no case.
    """

    cases: int
    unanswered: int
    dry_downs: int
    coverage: float | None = None
    sooner: float | None = None
    later: float | None = None
    width: float | None = None
    pinball: float | None = None
    median_error: float | None = None
    median_error_of_dry_down: float | None = None
    bias: float | None = None
    same_rate_error: float | None = None
    same_rate_ratio: float | None = None
    last_time_error: float | None = None
    last_time_ratio: float | None = None


@dataclass(frozen=True, slots=True)
class Backtest:
    """`rolling`: each level every six hours, up to a week ahead; `day_before`: each level once."""

    rolling: Score
    day_before: Score


@dataclass(frozen=True, slots=True, eq=False)
class Judged:
    """The cases of one dry-down with their intervals; `lasted_h` is from its start to the crossing."""

    name: str
    cases: Cases
    low_h: Floats
    high_h: Floats
    lasted_h: Floats


def backtest(histories: Sequence[History], since_s: float = -np.inf, width: int = 0) -> Backtest:
    """Ask into the past and compare.

    Parameters
    ----------
    histories : sequence of History
    since_s : float [s]; only dry-downs that began since then are judged; earlier ones are learnt from
    width : int, hours over which moisture is smoothed to say when it came to a level; 0: as `around_h`

    Returns
    -------
    Backtest

    Notes
    -----
    Everything an outlook rests on was known when it was asked: the hours before, dry-downs that were over
    when this one began, and how far off the outlooks in those had been.

    References
    ----------
    As `rolling_cases` and `Spread.interval_h`; pinball loss: Koenker & Bassett 1978, Econometrica 46:33.

    Examples
    --------
    >>> backtest([]).rolling.cases
    0
    """
    rolling, before = judged(histories, since_s, width)
    return Backtest(score(rolling), score(before))


def judged(histories: Sequence[History], since_s: float, width: int) -> tuple[list[Judged], list[Judged]]:
    """The cases behind `backtest`, dry-down by dry-down in the order in which they began."""
    kept = [[remember(d) for d in h.dryings] for h in histories]
    order = sorted((r.start_s, n, k) for n, mine in enumerate(kept) for k, r in enumerate(mine))
    learning = Learning()
    waiting: list[tuple[float, int, Spread]] = []
    rolling, before = [], []
    for start_s, n, k in order:
        for end_s, whose, learnt in sorted((w for w in waiting if w[0] <= start_s), key=lambda w: w[0]):
            learning.add(end_s, whose, learnt)
        waiting = [w for w in waiting if w[0] > start_s]
        drying, mates = histories[n].dryings[k], _mates(histories, kept, n)
        cases = rolling_cases(drying, kept[n][:k], mates, width)
        if start_s >= since_s:
            spread = learning.at(start_s, n)
            day = cases_before(drying, DAY_BEFORE_H, kept[n][:k], mates, width)
            rolling.append(_judged(histories[n].name, cases, spread, start_s))
            before.append(_judged(histories[n].name, day, spread, start_s))
        waiting.append((kept[n][k].end_s, n, learnt_from(cases)))
    return rolling, before


def learnt_from(cases: Cases) -> Spread:
    """What the cases of one dry-down tell of how far outlooks are off."""
    answered = cases.where(np.isfinite(cases.foreseen_h))
    return spread_of(answered.foreseen_h, answered.true_h)


def _mates(histories: Sequence[History], kept: Sequence[Sequence[Remembered]], n: int) -> list[Remembered]:
    return [
        r for m, other in enumerate(histories) if m != n and other.mix == histories[n].mix for r in kept[m]
    ]


def _judged(name: str, cases: Cases, spread: Spread, start_s: float) -> Judged:
    low, high = np.full(cases.size, np.nan), np.full(cases.size, np.nan)
    answered = np.isfinite(cases.foreseen_h)
    low[answered], high[answered] = spread.interval_h(cases.foreseen_h[answered])
    lasted = (cases.asked_s - start_s) / 3600 + cases.true_h
    return Judged(name, cases, low, high, lasted)


def score(judged: Sequence[Judged]) -> Score:
    """One score over many dry-downs; each case counts once."""
    if not sum(j.cases.size for j in judged):
        return Score(0, 0, 0)

    def every(name: str) -> Floats:
        return np.concatenate([getattr(j.cases, name) for j in judged])

    foreseen, true = every("foreseen_h"), every("true_h")
    low, high, lasted = (
        np.concatenate([getattr(j, name) for j in judged]) for name in ("low_h", "high_h", "lasted_h")
    )
    ok = np.isfinite(foreseen)
    if not ok.any():
        return Score(0, int(ok.size), 0)
    miss = np.abs(foreseen - true)
    same_rate, same_rate_ratio = _against(every("same_rate_h"), foreseen, true)
    last_time, last_time_ratio = _against(every("last_time_h"), foreseen, true)
    losses = [
        np.maximum(share * (true - at), (share - 1) * (true - at))[ok]
        for share, at in (((1 - LEVEL) / 2, low), (0.5, foreseen), ((1 + LEVEL) / 2, high))
    ]
    return Score(
        cases=int(ok.sum()),
        unanswered=int((~ok).sum()),
        dry_downs=sum(bool(np.isfinite(j.cases.foreseen_h).any()) for j in judged),
        coverage=float(((low <= true) & (true <= high))[ok].mean()),
        sooner=float((true < low)[ok].mean()),
        later=float((true > high)[ok].mean()),
        width=float(np.median((high - low)[ok] / np.maximum(foreseen[ok], 1.0))),
        pinball=float(np.mean(losses) / true[ok].mean()),
        median_error=float(np.median(miss[ok] / true[ok])),
        median_error_of_dry_down=float(np.median(miss[ok] / lasted[ok])),
        bias=float(np.median(foreseen[ok] / true[ok]) - 1),
        same_rate_error=same_rate,
        same_rate_ratio=same_rate_ratio,
        last_time_error=last_time,
        last_time_ratio=last_time_ratio,
    )


def _against(naive: Floats, foreseen: Floats, true: Floats) -> tuple[float | None, float | None]:
    """Median error of a naive way, and how many times ours, on the cases that both answer."""
    both = np.isfinite(foreseen) & ~np.isnan(naive)
    if not both.any():
        return None, None
    theirs, ours = (float(np.median(np.abs(v - true)[both] / true[both])) for v in (naive, foreseen))
    return theirs, theirs / ours if ours > 0 else None
