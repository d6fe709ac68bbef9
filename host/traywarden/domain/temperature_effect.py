"""What a degree does to a moisture sensor: read off the daily wiggle of its own record, and taken out."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import special

from traywarden.domain.psychrometrics import saturation_vapour_pressure_kpa
from traywarden.domain.units import HOUR_S
from traywarden.domain.wetting import DAY_S, Wetting

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

REFERENCE_C = 20.0
"""Temperature at which moisture is left as it is: indoors, where heads are calibrated (no source)."""
DAY_H = 24


@dataclass(frozen=True, slots=True)
class TemperatureParams:
    """How the effect is told from drying, and what it must bring before it is taken out (no source)."""

    settled_s: float = DAY_S / 2
    """After a wetting the mix drains and evens out for so long; that is no wiggle."""
    lags_h: tuple[int, ...] = (-1, 0, 1)
    """Soil temperature may be measured a little above or below where moisture is. Longer ones would pass for
    drying, which follows warmth by a quarter of a day."""
    block_h: int = 5 * DAY_H
    """Hours that are drawn, or left out, together."""
    least_blocks: int = 4
    least_hours: int = 7 * DAY_H
    folds: int = 5
    least_removed_share: float = 0.15
    """Part of the wiggle's variance, on days it was not fitted to, that taking it out must remove."""
    longest_gap_s: float = 6 * HOUR_S
    """Soil temperature is joined across gaps up to this; beyond, moisture cannot be corrected."""


DEFAULT_PARAMS = TemperatureParams()


@dataclass(frozen=True, slots=True)
class TemperatureEffect:
    """What a degree does to a head's moisture [m³/m³ per °C], its interval, and whether to take it out.

    `lag_s`: moisture follows soil temperature by so much (negative: it leads). `removed_share`: part of the
    variance of the daily wiggle that it removes on days it was not fitted to. `wiggle_m3_m3`: standard
    deviation of the wiggle before. Where `used` is false, `reason` says why.
    """

    m3_m3_per_c: float | None
    low_m3_m3_per_c: float | None
    high_m3_m3_per_c: float | None
    lag_s: float
    removed_share: float | None
    wiggle_m3_m3: float | None
    hours: int
    used: bool
    reason: str


@dataclass(frozen=True, slots=True)
class _Fit:
    """Sums of squares and products of one block: (temperature, drying) against moisture."""

    normal: Floats  # blocks × 2 × 2
    moment: Floats  # blocks × 2
    total: Floats  # blocks


def temperature_effect(
    hour_s: ArrayLike,
    moisture_m3_m3: ArrayLike,
    soil_temp_c: ArrayLike,
    wettings: Sequence[Wetting],
    params: TemperatureParams = DEFAULT_PARAMS,
) -> TemperatureEffect:
    """Estimate what a degree of soil temperature does to the moisture a head reads.

    Parameters
    ----------
    hour_s : array, shape (n,) [s], whole hours without a gap
    moisture_m3_m3 : array, shape (n,) [m³/m³]; NaN where missing, frozen or out of the question
    soil_temp_c : array, shape (n,) [°C]; NaN where missing
    wettings : hours near them are left out
    params : limits

    Returns
    -------
    TemperatureEffect

    Notes
    -----
    Moisture and temperature are each taken as the departure from their mean of 24 hours around, which leaves
    the daily wiggle and removes drying and season. Drying itself wiggles: it goes on by day and rests by
    night. The net loss of the 24 hours around, spread over the hours by the pull e°(T) − e°(T of the coldest
    hour), is therefore fitted beside the temperature, so that neither is taken for the other. The lag is the
    one that fits best. It is to be taken out only where (1) the interval (bootstrap over blocks of five days)
    does not hold zero, and (2) on blocks left out of the fit, lag and all, it removes at least
    `least_removed_share` of the variance that drying leaves. The sign is whatever the record shows.

    Raises
    ------
    ValueError if the arrays differ in length.

    References
    ----------
    Sign differs from one sensor to the next: MethodsX 2024, doi 10.1016/j.mex.2024.103100. Moving-block
    resampling: Künsch 1989, Ann. Stat. 17:1217. Cross-validation: Stone 1974, J. R. Stat. Soc. B 36:111.
    Vapour pressure of air from the day's lowest temperature: FAO-56, equation 48.

    Examples
    --------
    >>> hour_s = np.arange(24.0 * 40) * 3600
    >>> warm_c = 20 + 8 * np.sin(hour_s / 86400 * 2 * np.pi) + 2 * np.sin(hour_s / 5e5)
    >>> found = temperature_effect(hour_s, 0.1 - 0.0008 * (warm_c - 20), warm_c, [])
    >>> round(found.m3_m3_per_c, 5), found.used
    (-0.0008, True)
    """
    times = np.asarray(hour_s, np.float64)
    moisture, temps = np.asarray(moisture_m3_m3, np.float64), np.asarray(soil_temp_c, np.float64)
    if not times.shape == moisture.shape == temps.shape:
        raise ValueError("hours, moisture and soil temperature must be equally long")
    calm = np.isfinite(moisture) & ~_near_wettings(times, wettings, params.settled_s)
    around = _day_mean(np.where(calm, moisture, np.nan))
    wiggle = moisture - around
    warmth = temps - _day_mean(temps)
    drying = _drying(around, temps)
    fits: dict[int, _Fit] = {}
    reach = max(map(abs, params.lags_h))
    shifted = {lag: _later(warmth, lag) for lag in params.lags_h}
    known = np.isfinite(wiggle) & np.isfinite(drying)
    for values in shifted.values():  # the same hours for every lag, or the lags could not be compared
        known &= np.isfinite(values)
    known[:reach] = False
    hours = int(known.sum())
    block = (np.arange(times.size) // params.block_h)[known]
    blocks = np.unique(block)
    if hours < params.least_hours or blocks.size < params.least_blocks:
        return _not_told(
            hours,
            f"{hours / DAY_H:.0f} undisturbed days; it takes {params.least_hours / DAY_H:.0f} "
            f"in {params.least_blocks} different spells of five days",
        )
    place = np.searchsorted(blocks, block)
    for lag, values in shifted.items():
        fits[lag] = _sums(values[known], drying[known], wiggle[known], place, blocks.size)
    lag = min(fits, key=lambda each: _misfit(fits[each], np.ones(blocks.size)))
    effect = float(_solve(fits[lag], np.ones((1, blocks.size)))[0, 0])
    low, high = _interval(fits[lag])
    removed = _removed_share(fits, params.folds)
    wiggle_m3_m3 = float(np.sqrt(fits[lag].total.sum() / hours))
    reason = ""
    if low <= 0 <= high:
        reason = "the daily wiggle does not go with the temperature"
    elif removed < params.least_removed_share:
        share = max(removed, 0) * 100
        reason = f"taking it out would remove {share:.0f} % of the daily wiggle, too little to trust"
    return TemperatureEffect(
        effect, low, high, lag * HOUR_S, removed, wiggle_m3_m3, hours, not reason, reason
    )


def without_temperature(
    time_s: ArrayLike,
    moisture_m3_m3: ArrayLike,
    soil_temp_c: ArrayLike,
    effect: TemperatureEffect,
    params: TemperatureParams = DEFAULT_PARAMS,
) -> Floats:
    """Moisture as the head would have read it at 20 °C.

    Parameters
    ----------
    time_s : array, shape (n,) [s], ascending
    moisture_m3_m3 : array, shape (n,) [m³/m³]
    soil_temp_c : array, shape (n,) [°C]; NaN where missing
    effect : as `temperature_effect` found it
    params : `longest_gap_s` is used

    Returns
    -------
    array, shape (n,) [m³/m³]

    Notes
    -----
    θ − b·(T(t − lag) − 20 °C). Where `effect.used` is false the moisture comes back as it is. Temperature is
    joined across gaps of up to `longest_gap_s`; where it is unknown for longer, moisture is NaN: beside
    corrected neighbours an uncorrected value would look like a watering.

    References
    ----------
    As in `temperature_effect`.

    Examples
    --------
    >>> hour_s = np.arange(24.0 * 40) * 3600
    >>> warm_c = 20 + 8 * np.sin(hour_s / 86400 * 2 * np.pi) + 2 * np.sin(hour_s / 5e5)
    >>> read = 0.1 - 0.0008 * (warm_c - 20)
    >>> at_20 = without_temperature(hour_s, read, warm_c, temperature_effect(hour_s, read, warm_c, []))
    >>> float(np.round(np.ptp(at_20[3:-3]), 6))
    0.0
    """
    times, moisture = np.asarray(time_s, np.float64), np.asarray(moisture_m3_m3, np.float64)
    temps = np.asarray(soil_temp_c, np.float64)
    if not effect.used or effect.m3_m3_per_c is None:
        return moisture.copy()
    known = np.isfinite(temps)
    if not known.any():
        return np.full(moisture.shape, np.nan)
    asked = times - effect.lag_s
    joined_c = np.interp(asked, times[known], temps[known])
    after = np.searchsorted(times[known], asked)
    last = int(known.sum()) - 1
    before_s, after_s = times[known][np.clip(after - 1, 0, last)], times[known][np.clip(after, 0, last)]
    near_s = np.minimum(np.abs(asked - before_s), np.abs(after_s - asked))
    joined_c[near_s > params.longest_gap_s / 2] = np.nan
    return np.asarray(moisture - effect.m3_m3_per_c * (joined_c - REFERENCE_C))


def _near_wettings(times: Floats, wettings: Sequence[Wetting], settled_s: float) -> Bools:
    near = np.zeros(times.size, np.bool_)
    for wetting in wettings:
        first, last = np.searchsorted(times, [wetting.onset_s - HOUR_S, wetting.peak_s + settled_s])
        near[int(first) : int(last)] = True
    return near


def _day_mean(values: Floats) -> Floats:
    """Mean over the 24 hours around each hour, the outermost two counting half; NaN where one is missing."""
    found = np.full(values.size, np.nan)
    if values.size <= DAY_H:
        return found
    known = np.isfinite(values)
    sums = np.concatenate([[0.0], np.cumsum(np.where(known, values, 0.0))])
    counts = np.concatenate([[0], np.cumsum(known)])
    half = DAY_H // 2
    inside = slice(half, values.size - half)
    total = sums[DAY_H + 1 :] - sums[: -DAY_H - 1]
    total = total - (values[:-DAY_H] + values[DAY_H:]) / 2
    whole = counts[DAY_H + 1 :] - counts[: -DAY_H - 1] == DAY_H + 1
    found[inside] = np.where(whole, total / DAY_H, np.nan)
    return found


def _drying(around: Floats, temps: Floats) -> Floats:
    """How moisture would wiggle from drying alone: the day's net loss, spread by the pull of its hours."""
    half = DAY_H // 2
    loss = np.full(around.size, np.nan)  # a day, from the means around half a day before and after
    if around.size > DAY_H:
        loss[half:-half] = around[:-DAY_H] - around[DAY_H:]
    full_kpa = saturation_vapour_pressure_kpa(temps)
    coldest_kpa = np.fmin.reduce([_later(full_kpa, shift) for shift in range(-half, half + 1)])
    pull_kpa = full_kpa - coldest_kpa
    mean_kpa = _day_mean(pull_kpa)
    share = np.divide(pull_kpa, mean_kpa, out=np.ones(temps.size), where=mean_kpa > 0) - 1.0
    pace = np.where(np.isfinite(loss) & np.isfinite(mean_kpa), -loss / DAY_H * share, np.nan)
    gone = np.cumsum(np.nan_to_num(pace))
    gone[~np.isfinite(pace)] = np.nan
    # Half a step back: the loss of an hour is on average in it, not after it.
    return np.asarray(gone - np.nan_to_num(pace) / 2 - _day_mean(gone))


def _later(values: Floats, lag: int) -> Floats:
    """The values so many hours later; NaN where the series does not reach."""
    found = np.full(values.size, np.nan)
    if abs(lag) < values.size:
        into = slice(max(lag, 0), values.size + min(lag, 0))
        out_of = slice(max(-lag, 0), values.size - max(lag, 0))
        found[into] = values[out_of]
    return found


def _sums(warmth: Floats, drying: Floats, wiggle: Floats, place: NDArray[np.int64], blocks: int) -> _Fit:
    columns = (warmth, drying)
    normal = np.empty((blocks, 2, 2))
    moment = np.empty((blocks, 2))
    for i, left in enumerate(columns):
        moment[:, i] = np.bincount(place, left * wiggle, blocks)
        for j, right in enumerate(columns):
            normal[:, i, j] = np.bincount(place, left * right, blocks)
    total = np.asarray(np.bincount(place, wiggle * wiggle, blocks), np.float64)
    return _Fit(normal, moment, total)


def _solve(fit: _Fit, weights: Floats) -> Floats:
    """(temperature, drying) coefficients for each row of block weights."""
    normal = np.einsum("rb,bij->rij", weights, fit.normal)
    moment = weights @ fit.moment
    # A touch of ridge on drying alone: where nothing dries its column is empty.
    normal[:, 1, 1] += 1e-12
    normal[:, 0, 0] += 1e-12
    return np.asarray(np.linalg.solve(normal, moment[:, :, None])[:, :, 0])


def _misfit(fit: _Fit, weights: Floats, coefficients: Floats | None = None) -> float:
    chosen = _solve(fit, weights[None, :])[0] if coefficients is None else coefficients
    normal, moment = np.einsum("b,bij->ij", weights, fit.normal), weights @ fit.moment
    return float(weights @ fit.total - 2 * chosen @ moment + chosen @ normal @ chosen)


def _interval(fit: _Fit, level: float = 0.95, runs: int = 1000, seed: int = 2022) -> tuple[float, float]:
    """Bootstrap over blocks, expanded for few of them (Hesterberg 2015)."""
    n = fit.total.size
    draws = np.random.default_rng(seed).multinomial(n, np.full(n, 1 / n), size=runs)
    found = _solve(fit, draws.astype(np.float64))[:, 0]
    tail = float(special.ndtr(-np.sqrt(n / (n - 1)) * special.stdtrit(n - 1, 0.5 + level / 2)))
    low, high = np.quantile(found, [tail, 1 - tail])
    return float(low), float(high)


def _removed_share(fits: dict[int, _Fit], folds: int) -> float:
    """Part of what drying leaves of the variance that temperature explains, on blocks left out of the fit."""
    n = next(iter(fits.values())).total.size
    folds = min(folds, n)
    left_out = np.arange(n) % folds
    with_it = without = 0.0
    for fold in range(folds):
        train, test = (left_out != fold).astype(np.float64), (left_out == fold).astype(np.float64)
        lag = min(fits, key=lambda each: _misfit(fits[each], train))
        fit = fits[lag]
        with_it += _misfit(fit, test, _solve(fit, train[None, :])[0])
        alone = float(train @ fit.moment[:, 1] / max(float(train @ fit.normal[:, 1, 1]), 1e-12))
        without += _misfit(fit, test, np.array([0.0, alone]))
    return 1 - with_it / without if without > 0 else 0.0


def _not_told(hours: int, reason: str) -> TemperatureEffect:
    return TemperatureEffect(None, None, None, 0.0, None, None, hours, used=False, reason=reason)
