"""Hourly soil or air of the coming days where outside air is forecast, through the learned relation to it."""

import numpy as np
import pandas as pd

from traywarden.domain.ensemble import Ensemble
from traywarden.domain.lag import LearnedLag
from traywarden.domain.series import FloatArray
from traywarden.domain.temperature_outlook import MEMBERS, SEED
from traywarden.domain.units import HOUR_S

_PARTED_FADES_H = 12.0
_STEADY_H, _LEAST_STEADY_H = 72, 24


def through_forecast(
    lag: LearnedLag,
    past_time_s: FloatArray,
    past_air_c: FloatArray,
    past_soil_c: FloatArray,
    forecast_time_s: FloatArray,
    forecast_air_c: FloatArray,
    *,
    error_c: FloatArray,
    error_memory_h: float = 12.0,
    members: int = MEMBERS,
    seed: int = SEED,
) -> Ensemble:
    """Ways soil (or a place's air) may go where outside air is forecast.

    Parameters
    ----------
    lag : LearnedLag of this soil
    past_time_s : array, shape (n,) [s], whole hours until now, best some days of them
    past_air_c : array, shape (n,) [°C], outside air of those hours
    past_soil_c : array, shape (n,) [°C], soil of those hours; NaN where missing
    forecast_time_s : array, shape (h,) [s], whole hours that follow
    forecast_air_c : array, shape (h,) [°C]
    error_c : array, shape (h,) [°C]; standard deviation of the forecast's error at each hour
    error_memory_h : float [h]; how long such an error lasts
    members : int
    seed : int

    Returns
    -------
    Ensemble over the hours of the forecast

    Notes
    -----
    Each member has its own error of the forecast, and its own error of the relation between air and soil,
    both remembering (first-order autoregressive). What the relation was off by in the last hours that were
    measured lives on and fades; what it was off by on average over the last three days stays, as shade and
    growth change slowly (on two recorded fields that took a tenth off the error).

    Examples
    --------
    >>> from zoneinfo import ZoneInfo
    >>> lag = LearnedLag(2.0, 1, 0, 0, 0, 0, 0.3, 6, 0, 1, 240, 0, 864000, 0, 30, ZoneInfo("UTC"))
    >>> now = np.arange(72) * 3600.0
    >>> level = np.full(72, 12.0)
    >>> told = through_forecast(lag, now, level, level + 1, now + 259200, level, error_c=np.ones(72))
    >>> [round(float(np.median(told.members_c[:, h]))) for h in (0, 71)]
    [13, 13]
    """
    random = np.random.default_rng(seed)
    size = (members, forecast_time_s.size)
    air = forecast_air_c + error_c * _remembering(random, size, error_memory_h)
    runs = np.concatenate([np.broadcast_to(past_air_c, (members, past_air_c.size)), air], axis=1)
    told = lag.soil_from_air(np.concatenate([past_time_s, forecast_time_s]), runs)
    off = past_soil_c - told[0, : past_time_s.size]
    steady = _steady_c(off)
    known = np.flatnonzero(np.isfinite(off))
    ahead_h = np.arange(1, forecast_time_s.size + 1)
    if known.size:
        gone_h = (forecast_time_s[0] - past_time_s[known[-1]]) / HOUR_S - 1
        carried = steady + float(off[known[-1]] - steady) * np.exp(-(ahead_h + gone_h) / lag.memory_h)
        grown = np.sqrt(1 - np.exp(-2 * (ahead_h + gone_h) / lag.memory_h))
    else:
        carried, grown = np.zeros(ahead_h.size), np.ones(ahead_h.size)
    own = lag.spread_c * grown * _remembering(random, size, lag.memory_h)
    return Ensemble(
        forecast_time_s,
        told[:, past_time_s.size :] + carried + own,
        round(lag.hours / 24),
        "forecast through the learned relation to the outside air",
    )


def steady_error_c(
    lag: LearnedLag, past_time_s: FloatArray, past_air_c: FloatArray, past_soil_c: FloatArray
) -> float:
    """What a relation was off by on average over the last three days before now.

    Parameters
    ----------
    lag : LearnedLag
    past_time_s, past_air_c, past_soil_c : as in `through_forecast`

    Returns
    -------
    float [°C], to be added to what it tells; 0 where less than a day of it is known

    Notes
    -----
    As `through_forecast`.

    Examples
    --------
    >>> from zoneinfo import ZoneInfo
    >>> lag = LearnedLag(2.0, 1, 0, 0, 0, 0, 0.3, 6, 0, 1, 240, 0, 864000, 0, 30, ZoneInfo("UTC"))
    >>> level = np.full(72, 12.0)
    >>> steady_error_c(lag, np.arange(72) * 3600.0, level, level + 1.5)
    1.5
    """
    return _steady_c(past_soil_c - lag.soil_from_air(past_time_s, past_air_c))


def _steady_c(off_c: FloatArray) -> float:
    recent = off_c[-_STEADY_H:]
    recent = recent[np.isfinite(recent)]
    return float(recent.mean()) if recent.size >= _LEAST_STEADY_H else 0.0


def continued(first: Ensemble, after: Ensemble) -> Ensemble:
    """A bundle that ends early, carried on by another.

    Parameters
    ----------
    first, after : Ensemble with as many members each; `after` may begin before `first` ends

    Returns
    -------
    Ensemble over the hours of both

    Notes
    -----
    Members are joined in the order of their last common level, and what still parts them fades within a day.

    Examples
    --------
    >>> one = Ensemble(np.array([0.0]), np.array([[10.0], [12.0]]), 9, "forecast")
    >>> other = Ensemble(np.array([0.0, 3600.0]), np.array([[13.0, 14.0], [9.0, 9.0]]), 20, "own days")
    >>> np.round(continued(one, other).members_c, 1).tolist()
    [[10.0, 9.9], [12.0, 13.1]]
    """
    more = after.time_s > first.time_s[-1]
    if not more.any():
        return first
    joint = int(np.flatnonzero(more)[0]) - 1
    at_joint = after.members_c[:, max(joint, 0)]
    rank = np.argsort(np.argsort(first.members_c[:, -1]))
    order = np.argsort(at_joint)[rank]
    fading = np.exp(-(np.arange(int(more.sum())) + 1) / _PARTED_FADES_H)
    parted = first.members_c[:, -1] - at_joint[order]
    tail = after.members_c[order][:, more] + parted[:, None] * fading
    return Ensemble(
        np.concatenate([first.time_s, after.time_s[more]]),
        np.concatenate([first.members_c, tail], axis=1),
        min(first.days, after.days),
        f"{first.basis}; from its end on {after.basis}",
        first.remark or after.remark,
    )


def _remembering(random: np.random.Generator, size: tuple[int, int], memory_h: float) -> FloatArray:
    """Noise of standard deviation 1 that forgets itself in memory_h."""
    kept = np.exp(-1.0 / memory_h)
    kicks = random.normal(0.0, 1.0, size)
    kicks[:, 1:] *= np.sqrt(1 - kept**2) / (1 - kept)
    return np.asarray(pd.DataFrame(kicks.T).ewm(alpha=1 - kept, adjust=False).mean().to_numpy().T)
