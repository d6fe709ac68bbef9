"""Tonight's low and tomorrow's high from a place's own days, with an interval that its own errors set."""

from dataclasses import dataclass

import numpy as np

from traywarden.domain.nights import Turns
from traywarden.domain.series import BoolArray, FloatArray

LEVEL = 0.8
LEAST_ERRORS = 10
"""Fewer own errors set no interval: nine are the least of which a tenth may lie beyond either end."""
MOST_ERRORS = 60
"""The latest errors count; a season ago the weather was another."""
HALF_LIFE_D = 180.0
DEFAULT_LOW_C = 5.0
DEFAULT_HIGH_C = 6.5
"""Half widths while own errors are too few: four fifths of “same as last time” missed by less over a year in
a continental field (`python -m tests.figures lows-highs`)."""
_LEAST_FIT = 3
_REFIT_D = 5
_LEARNS = 0.02  # how fast the asked level follows what was held (γ of Gibbs & Candès)
_HELD_LOW, _HELD_HIGH = 30.0, 100.0  # days that the coefficients believed beforehand weigh
# What is believed of each mark before anything is known: a quarter of a departure goes back by the next time,
# a quarter of what now lies above yesterday comes on; of the others nothing. No source: half of what the two
# recorded fields tell, so that a new garden starts near “same as last time”.
_BELIEVED = np.array([-0.25, 0.25, 0.0, 0.0, 0.0, 0.0, 0.0])
_HUBER = 1.345


@dataclass(frozen=True, slots=True)
class Expected:
    """What is expected, with the interval that is to hold it with `level`.

    `calibrated`: whether own errors set the interval (`errors` of them), else it is the stated default.
    `held` is how often the intervals of the past held what came, out of sample (None without any). `error_c`
    is the mean error of past estimates, `plain_error_c` that of “same as last time”. `reason` says what
    limits it.
    """

    estimate_c: float
    low_c: float
    high_c: float
    level: float
    calibrated: bool
    errors: int
    held: float | None
    error_c: float | None
    plain_error_c: float | None
    basis: str
    reason: str = ""


@dataclass(frozen=True, slots=True, eq=False)
class Walked:
    """What was expected on each row of a `Turns`, from the rows that were over by then; NaN for none."""

    estimate_c: FloatArray
    low_c: FloatArray
    high_c: FloatArray
    calibrated: BoolArray
    errors: int


def walk(turns: Turns, *, half_width_c: float, of_night: bool, level: float = LEVEL) -> Walked:
    """Expect each night's low (or day's high) from the nights that were over by then, day after day.

    Parameters
    ----------
    turns : Turns, oldest first
    half_width_c : float [°C]; of the interval while own errors are too few
    of_night : whether a low is expected, else a high
    level : float, 0 … 1

    Returns
    -------
    Walked, one value for each row

    Notes
    -----
    The estimate is “same as last time” plus a robust linear function of the marks, held towards what is
    believed beforehand and learned anew every five days from the days before. The interval is the estimate
    plus the quantiles of the latest 60 errors that it made in the same way (rolling split conformal, taken
    at rank ⌈(n+1)q⌉); the level asked of them is moved by what the last intervals held, so that over time
    80 % hold also where the weather grows rougher (adaptive conformal inference, γ = 0.02). A low that has
    been reached already bounds what may come, as does a high.

    References
    ----------
    Lei et al. 2018, J. Am. Stat. Assoc. 113:1094 (split conformal); Gibbs & Candès 2021, NeurIPS 34
    (adaptive conformal inference); Huber 1981, Robust Statistics.

    Examples
    --------
    >>> from datetime import date, timedelta
    >>> lows = np.r_[np.tile([5.0, 6.0, 7.0, 6.0], 10), np.nan]
    >>> nights = [date(2026, 5, 1) + timedelta(days=n) for n in range(41)]
    >>> plain = np.r_[5.0, lows[:-1]]
    >>> none = np.full(41, np.nan)
    >>> turns = Turns(nights, lows, plain, none, np.zeros((41, 7)))
    >>> found = walk(turns, half_width_c=5.0, of_night=True)
    >>> float(found.estimate_c[-1]), float(found.low_c[-1]), float(found.high_c[-1]), found.errors
    (6.0, 5.0, 7.0, 40)
    """
    rows, late = turns.plain_c.size, 1 + turns.running
    change_c = turns.truth_c - turns.plain_c
    estimate, low, high = (np.full(rows, np.nan) for _ in range(3))
    calibrated = np.zeros(rows, dtype=np.bool_)
    errors: list[float] = []
    asked = 1 - level
    coefficients, fitted_at = _BELIEVED, -_REFIT_D
    held = _HELD_LOW if of_night else _HELD_HIGH
    for row in range(rows):
        over = row - late  # the last one whose truth was known when this one was asked about
        if over >= 0 and np.isfinite(turns.truth_c[over] - estimate[over]):
            truth = turns.truth_c[over]
            if calibrated[over]:
                missed = not low[over] <= truth <= high[over]
                asked = float(np.clip(asked + _LEARNS * (1 - level - missed), 0.02, 0.5))
            errors.append(truth - estimate[over])
        if np.isnan(turns.plain_c[row]):
            continue
        if row - fitted_at >= _REFIT_D:
            known = max(over + 1, 0)
            coefficients, fitted_at = _fitted(turns.marks[:known], change_c[:known], held), row
        so_far = turns.so_far_c[row]
        plain = turns.plain_c[row] + float(turns.marks[row] @ coefficients)
        at = _bounded(plain, so_far, of_night)
        below, above = -half_width_c, half_width_c
        if len(errors) >= LEAST_ERRORS:
            below, above = conformal(np.array(errors[-MOST_ERRORS:]), 1 - asked)
            calibrated[row] = True
        estimate[row] = at
        low[row] = _bounded(at + below, so_far, of_night)
        high[row] = _bounded(at + above, so_far, of_night)
    return Walked(estimate, low, high, calibrated, min(len(errors), MOST_ERRORS))


def expected(turns: Turns, *, of_night: bool, basis: str = "own recent days") -> Expected | None:
    """Tonight's low (or tomorrow's high): what the last row of a walk says, and how the rows before it did.

    Parameters
    ----------
    turns : Turns, the last row being now
    of_night : whether a low is expected, else a high
    basis : str, what it rests on

    Returns
    -------
    Expected; None where not even the last time is known

    Notes
    -----
    As `walk`.

    Examples
    --------
    >>> from datetime import date
    >>> one, none = np.array([6.0]), np.full(1, np.nan)
    >>> found = expected(Turns([date(2026, 5, 1)], none, one, none, np.zeros((1, 7))), of_night=True)
    >>> found.low_c, found.high_c, found.calibrated
    (1.0, 11.0, False)
    """
    half_width_c = DEFAULT_LOW_C if of_night else DEFAULT_HIGH_C
    walked = walk(turns, half_width_c=half_width_c, of_night=of_night)
    if np.isnan(walked.estimate_c[-1]):
        return None
    judged = walked.calibrated & np.isfinite(turns.truth_c)
    truth = turns.truth_c[judged]
    inside = (walked.low_c[judged] <= truth) & (truth <= walked.high_c[judged])
    calibrated = bool(walked.calibrated[-1])
    reason = (
        ""
        if calibrated
        else f"only {walked.errors} nights or days to judge by, {LEAST_ERRORS} needed: the width is a default"
    )
    return Expected(
        estimate_c=float(walked.estimate_c[-1]),
        low_c=float(walked.low_c[-1]),
        high_c=float(walked.high_c[-1]),
        level=LEVEL,
        calibrated=calibrated,
        errors=walked.errors,
        held=float(inside.mean()) if inside.size else None,
        error_c=float(np.abs(truth - walked.estimate_c[judged]).mean()) if truth.size else None,
        plain_error_c=float(np.abs(truth - turns.plain_c[judged]).mean()) if truth.size else None,
        basis=basis,
        reason=reason,
    )


def conformal(errors_c: FloatArray, level: float) -> tuple[float, float]:
    """What to add to an estimate so that a next error like the past ones lies between with that level.

    Parameters
    ----------
    errors_c : array, shape (n,) [°C], truth − estimate, in any order
    level : float, 0 … 1

    Returns
    -------
    (below, above) [°C]

    Notes
    -----
    The errors at the ranks ⌊(n+1)·tail⌋ and ⌈(n+1)·(1−tail)⌉, at most the smallest and the largest.

    References
    ----------
    Lei et al. 2018, J. Am. Stat. Assoc. 113:1094.

    Examples
    --------
    >>> conformal(np.arange(9.0) - 4, 0.8)
    (-4.0, 4.0)
    """
    errors = np.sort(errors_c)
    tail = (1 - level) / 2
    low = max(int(np.floor((errors.size + 1) * tail + 1e-9)) - 1, 0)
    high = min(int(np.ceil((errors.size + 1) * (1 - tail) - 1e-9)) - 1, errors.size - 1)
    return float(errors[low]), float(errors[high])


def _bounded(value_c: float, so_far_c: float, of_night: bool) -> float:
    if np.isnan(so_far_c):
        return value_c
    return min(value_c, float(so_far_c)) if of_night else max(value_c, float(so_far_c))


def _fitted(marks: FloatArray, change_c: FloatArray, held_d: float) -> FloatArray:
    """Coefficients of the marks, from the days that are over."""
    over = np.isfinite(change_c)
    if over.sum() < _LEAST_FIT:
        return _BELIEVED
    columns, change = marks[over], change_c[over]
    age_d = change_c.size - np.flatnonzero(over)
    old = 0.5 ** (age_d / HALF_LIFE_D)
    held = np.diag(held_d * (columns.std(axis=0) ** 2 + 1.0))
    coefficients = _BELIEVED
    for _ in range(3):
        left = np.abs(change - columns @ coefficients)
        scale = max(1.4826 * float(np.median(left)), 1e-6)
        weighted = columns * (old * np.minimum(1.0, _HUBER * scale / np.maximum(left, 1e-9)))[:, None]
        coefficients = np.linalg.solve(columns.T @ weighted + held, weighted.T @ change + held @ _BELIEVED)
    return np.asarray(coefficients)
