"""Tonight's low and tomorrow's high where a forecast drives them, held against what past forecasts gave."""

import numpy as np

from traywarden.domain.ensemble import Ensemble
from traywarden.domain.forecast_outlook import steady_error_c
from traywarden.domain.lag import LearnedLag
from traywarden.domain.lows_highs import LEAST_ERRORS, LEVEL, Expected, conformal
from traywarden.domain.nights import Hours, Turn, turn_at
from traywarden.domain.outside import Forecast
from traywarden.domain.series import FloatArray
from traywarden.domain.units import HOUR_S
from traywarden.services.outside_air import LEARN_D, hours_ahead
from traywarden.services.questions.ground import DAY_MS, Ground
from traywarden.services.sky import Sky
from traywarden.store import outside as outside_store

_WARM_UP_H = 120


def forecast_expected(
    ground: Ground,
    driven: Ensemble,
    hours: Hours,
    lag: LearnedLag,
    turn: Turn,
    sky: Sky,
    *,
    of_night: bool,
) -> Expected | None:
    """The night's low (or the day's high) from a bundle that a forecast drives; None where it ends too soon,
    or from its first hour on tells less than half of the hours to come.

    The interval is that of the errors which the last days' forecasts made in the same way, where ten can be
    judged; else that of the bundle, which rests on the forecast's assumed error and on the relation's.
    """
    start_s, end_s = (
        (turn.night_start_s, turn.night_end_s) if of_night else (turn.day_start_s, turn.day_end_s)
    )
    if driven.time_s[-1] + HOUR_S < end_s:
        return None
    of = np.min if of_night else np.max
    coming = driven.between(start_s, end_s)
    told = driven.between(max(start_s, sky.told_from_s), end_s)
    if not coming.size or 2 * told.shape[1] < coming.shape[1]:
        return None
    sharper_c = _sharper(hours, of_night=of_night)
    reached = of(coming, axis=1) + sharper_c
    seen = _measured(hours, start_s, end_s, of_night=of_night)
    if np.isfinite(seen):
        reached = np.minimum(reached, seen) if of_night else np.maximum(reached, seen)
    middle = float(np.median(reached))
    low, high = (float(q) for q in np.quantile(reached, [(1 - LEVEL) / 2, (1 + LEVEL) / 2]))
    errors = _past_errors(ground, hours, lag, sky, sharper_c, of_night=of_night)
    calibrated = errors.size >= LEAST_ERRORS
    if calibrated:
        middle += float(np.median(errors))
        below, above = conformal(errors - np.median(errors), LEVEL)
        low, high = middle + below, middle + above
        if np.isfinite(seen):
            low, high = (min(v, seen) if of_night else max(v, seen) for v in (low, high))
    assumed = "how far off past forecasts were" if sky.error.judged else "an assumed error of the forecast"
    known = f"only {errors.size}" if errors.size else "no"
    few = f"{known} past forecasts to judge by, {LEAST_ERRORS} needed: the width rests on {assumed}"
    return Expected(
        estimate_c=middle,
        low_c=low,
        high_c=high,
        level=LEVEL,
        calibrated=calibrated,
        errors=int(errors.size),
        held=None,
        error_c=float(np.abs(errors).mean()) if errors.size else None,
        plain_error_c=None,
        basis="forecast through the learned relation to the outside air",
        reason="" if calibrated else few,
    )


def _sharper(hours: Hours, *, of_night: bool) -> float:
    """How much lower (or higher) readings go than the means of their hours, in the median day."""
    extreme = hours.min_c if of_night else hours.max_c
    days = min(hours.mean_c.size // 24, 30)
    if not days:
        return 0.0
    means, ends = (v[-24 * days :].reshape(days, 24) for v in (hours.mean_c, extreme))
    whole = np.isfinite(means).sum(axis=1) >= 20
    if not whole.any():
        return 0.0
    of = np.nanmin if of_night else np.nanmax
    return float(np.median(of(ends[whole], axis=1) - of(means[whole], axis=1)))


def _measured(hours: Hours, start_s: float, end_s: float, *, of_night: bool) -> float:
    first, last = (round((edge - hours.start_s) / HOUR_S) for edge in (start_s, end_s))
    values = (hours.min_c if of_night else hours.max_c)[max(first, 0) : max(last, 0)]
    known = values[np.isfinite(values)]
    if not known.size:
        return np.nan
    return float(known.min() if of_night else known.max())


def _between(hours: Hours, time_s: FloatArray) -> FloatArray:
    """Means of the hours that begin at the times given; NaN where there are none."""
    places = np.round((time_s - hours.start_s) / HOUR_S).astype(np.int64)
    inside = (places >= 0) & (places < hours.mean_c.size)
    return np.where(inside, hours.mean_c[np.clip(places, 0, hours.mean_c.size - 1)], np.nan)


def _past_errors(
    ground: Ground,
    hours: Hours,
    lag: LearnedLag,
    sky: Sky,
    sharper_c: float,
    *,
    of_night: bool,
) -> FloatArray:
    """What came less what each past forecast, at the hour it was issued, would have given; latest last.

    One forecast for each night of the days that the relation was learned from: it is today's, and would not
    do justice to days before a tray was moved. So these errors are a little small.
    """
    start_ms = ground.now_ms - LEARN_D * DAY_MS
    by_night: dict[object, Forecast] = {}
    for each in outside_store.forecasts_issued(ground.tx, start_ms, ground.now_ms):
        by_night[turn_at(each.issued_s, ground.zone).night] = each
    assert sky.outside is not None
    air = dict(zip(sky.outside.time_s.tolist(), sky.outside.air_c.tolist(), strict=True))
    errors = []
    for each in by_night.values():
        turn = turn_at(each.issued_s, ground.zone)
        window = (turn.night_start_s, turn.night_end_s) if of_night else (turn.day_start_s, turn.day_end_s)
        ahead_s, ahead_c = hours_ahead(each, each.issued_s)
        if not ahead_s.size or ahead_s[0] > each.issued_s + HOUR_S:
            continue  # what filled the hours before it began is no part of what it said
        if ahead_s[-1] + HOUR_S < window[1] or window[1] > ground.now_ms / 1000:
            continue
        past_s = ahead_s[0] - HOUR_S * np.arange(_WARM_UP_H, 0, -1)
        past_c = np.array([air.get(t, np.nan) for t in past_s.tolist()])
        told = lag.soil_from_air(np.r_[past_s, ahead_s], np.r_[past_c, ahead_c - sky.error.bias_c])[
            _WARM_UP_H:
        ]
        told = told + steady_error_c(lag, past_s, past_c, _between(hours, past_s))
        inside = (ahead_s >= window[0]) & (ahead_s < window[1])
        truth = _measured(hours, *window, of_night=of_night)
        if inside.any() and np.isfinite(truth):
            reached = (np.nanmin if of_night else np.nanmax)(told[inside]) + sharper_c
            errors.append(truth - float(reached))
    return np.array(errors)
