"""What a tray's soil, or a place's air, makes of the air outside: learned from hours that have both."""

from dataclasses import dataclass, field
from zoneinfo import ZoneInfo

import numpy as np
from numpy.typing import ArrayLike

from traywarden.domain.first_order import bridged, first_order, hour_grid, unsettled
from traywarden.domain.lag_fit import fitted, memory_h, unseen_errors
from traywarden.domain.series import BoolArray, FloatArray
from traywarden.domain.sunshine import sun_shares
from traywarden.domain.units import HOUR_S, Display
from traywarden.errors import ShortOfDataError

LEAST_H = 120
"""Hours that both sides must have in common: five days (common practice, no source)."""
LEAST_SWING_C = 3.0
"""Least span of the air's values in that time; a flat line teaches nothing (common practice, no source)."""
SLOW_H = 72.0
"""The slow part: ground and walls remember days."""
LAGS_H = tuple(float(h) for h in np.round(np.geomspace(0.25, 24.0, 24), 4))


@dataclass(frozen=True, slots=True)
class LearnedLag:
    """How a tray's soil, or a place's air, follows the air outside.

    `gain` and `slow_gain` are parts of the air's change that come through within hours (`lag_h`) and within
    days; `sun_morning_c` and `sun_afternoon_c` what an overhead sun of a clear morning or afternoon adds.
    `spread_c` is the standard deviation of what is left unexplained, on days that the fit had not seen, and
    `memory_h` how long such an error lasts; `bias_c` its mean. `hours` is how many hours taught it.
    """

    lag_h: float
    gain: float
    slow_gain: float
    offset_c: float
    sun_morning_c: float
    sun_afternoon_c: float
    spread_c: float
    memory_h: float
    bias_c: float
    r2: float
    hours: int
    from_s: float
    to_s: float
    air_low_c: float
    air_high_c: float
    zone: ZoneInfo = field(repr=False)
    latitude_deg: float | None = None
    longitude_deg: float | None = None

    def soil_from_air(self, time_s: ArrayLike, air_c: ArrayLike) -> FloatArray:
        """Expected soil temperature for a run of outside air.

        Parameters
        ----------
        time_s : array, shape (h,) [s] since 1970, ascending; starts of whole hours
        air_c : array, shape (h,) or (n, h) [°C]; several runs at once as rows

        Returns
        -------
        array, shaped as air_c [°C]

        Notes
        -----
        Begin a few lags (`settles_h` hours) before the hours that matter: until then the answer leans on the
        mean of the first day. Gaps up to three hours are bridged; within longer ones, and for three lags
        after them, the answer is NaN.
        """
        air = np.asarray(air_c, dtype=np.float64)
        at, grid_s = hour_grid(np.asarray(time_s, dtype=np.float64))
        spread_out = np.full((*air.shape[:-1], grid_s.size), np.nan)
        spread_out[..., at] = air
        rows = np.atleast_2d(spread_out)
        drive = _drive(grid_s, rows, self.zone, self.latitude_deg, self.longitude_deg)
        coefficients = (
            self.gain,
            self.slow_gain,
            self.offset_c,
            self.sun_morning_c,
            self.sun_afternoon_c,
        )
        found = np.tensordot(coefficients, drive.columns(self.lag_h), axes=1)
        found = np.where(unsettled(rows, self.lag_h), np.nan, found)
        return np.asarray(found.reshape(spread_out.shape)[..., at], dtype=np.float64)

    @property
    def settles_h(self) -> float:
        """Hours of air that must come before the answer can be relied on [h]."""
        return max(3 * self.lag_h, SLOW_H if abs(self.slow_gain) > 0.1 else 0.0)

    def in_words(self, display: Display) -> str:
        """One sentence for a grower."""
        sun = max(self.sun_morning_c, self.sun_afternoon_c)
        when = "morning" if self.sun_morning_c > self.sun_afternoon_c else "afternoon"
        lag = f"{self.lag_h:.1f} h" if self.lag_h < 10 else f"{self.lag_h:.0f} h"
        share = 100 * (self.gain + self.slow_gain)
        parts = [f"follows the outside air after about {lag}, {share:.0f} % of its change"]
        if sun > 0.5:
            parts.append(f"up to {display.temp_span(sun)} more in a clear {when}'s sun")
        return f"{'; '.join(parts)} (within ±{display.temp_span(1.28 * self.spread_c, 1)} four times in five)"


def learn_lag(
    time_s: ArrayLike,
    air_c: ArrayLike,
    soil_c: ArrayLike,
    zone: ZoneInfo,
    latitude_deg: float | None = None,
    longitude_deg: float | None = None,
    *,
    least_h: float = LEAST_H,
    half_life_d: float | None = None,
    display: Display = Display(),  # noqa: B008 (frozen)
) -> LearnedLag:
    """Learn how soil (or a place's air) follows the air outside, from hours in which both are known.

    Parameters
    ----------
    time_s : array, shape (n,) [s] since 1970, ascending; starts of whole hours (gaps may be left out)
    air_c : array, shape (n,) [°C], hourly means outside; NaN where missing
    soil_c : array, shape (n,) [°C], hourly means of what follows; NaN where missing
    zone : ZoneInfo of the garden
    latitude_deg, longitude_deg : float [°], optional; place the sun
    least_h : float [h]; hours in common needed
    half_life_d : float [d], optional; hours so much older than the last weigh half
    display : Display, the units in which it is said why nothing was learned

    Returns
    -------
    LearnedLag

    Notes
    -----
    dS/dt = (W − S)/τ: a body of one heat capacity behind one resistance, drawn towards
    W = offset + gain·air + sun(morning, afternoon), plus a slow part that follows the air over three days.
    The filter is exact for air that runs in straight lines between hours. For each lag of a grid from a
    quarter of an hour to a day the five coefficients come from Huber's robust regression, held lightly
    towards “gain 1, nothing else” so that a few days do not run wild; the lag with the least robust loss
    stands, refined by a parabola. `spread_c` comes from five folds of whole days, each foretold from the
    others.
    A season's growth, a moved tray or a lid change the relation: learn it anew from recent days for an
    outlook, the latest weighing most (`half_life_d`). Beyond the air it was learned from (`air_low_c`,
    `air_high_c`) it is a guess.

    Raises
    ------
    ShortOfDataError with the reason, where too few hours are known on both sides or the air hardly changed.

    References
    ----------
    First-order thermal lag: Campbell & Norman 1998, An Introduction to Environmental Biophysics, ch. 2 and 8;
    Huber 1981, Robust Statistics. Sun from the air's swing: see `sun_shares`.

    Examples
    --------
    >>> hours = np.arange(24 * 14) * 3600.0
    >>> air = 12 + 6 * np.sin(hours / 86400 * 2 * np.pi) + 3 * np.sin(hours / 86400 / 5 * 2 * np.pi)
    >>> soil = 2 + first_order(air, 4.0)
    >>> found = learn_lag(hours, air, soil, ZoneInfo("UTC"))
    >>> round(found.lag_h, 1), round(found.spread_c, 1)
    (4.0, 0.1)
    """
    at, grid_s = hour_grid(np.asarray(time_s, dtype=np.float64))
    air, soil = (np.full(grid_s.size, np.nan) for _ in range(2))
    air[at], soil[at] = np.asarray(air_c, dtype=np.float64), np.asarray(soil_c, dtype=np.float64)
    _need_overlap(air, soil, least_h, display)
    rows = air[None, :]
    weights = np.ones(grid_s.size)
    if half_life_d is not None:
        weights = 0.5 ** ((grid_s[-1] - grid_s) / (86_400 * half_life_d))
    drive = _drive(grid_s, rows, zone, latitude_deg, longitude_deg)

    def usable(lag_h: float) -> tuple[FloatArray, BoolArray]:
        return drive.columns(lag_h)[:, 0].T, np.isfinite(soil) & ~unsettled(rows, lag_h)[0]

    losses = []
    for lag_h in LAGS_H:
        columns, used = usable(lag_h)
        enough = used.sum() >= least_h / 2
        losses.append(fitted(columns[used], soil[used], weights[used])[1] if enough else np.inf)
    lag_h = _least(np.array(losses))
    columns, used = usable(lag_h)
    if used.sum() < least_h / 2:
        raise ShortOfDataError(
            f"The outside air has too many gaps: only {used.sum()} hours are left to learn from; "
            f"{least_h / 2:.0f} are needed."
        )
    coefficients, _ = fitted(columns[used], soil[used], weights[used])
    errors = unseen_errors(
        columns[used], soil[used], weights[used], (grid_s[used] // 86_400).astype(np.int64)
    )
    spread = float(np.sqrt(np.mean(np.clip(errors, *np.quantile(errors, [0.005, 0.995])) ** 2)))
    left = soil[used] - columns[used] @ coefficients
    total = float(np.mean((soil[used] - soil[used].mean()) ** 2))
    gain, slow_gain, offset_c, morning_c, afternoon_c = (float(c) for c in coefficients)
    return LearnedLag(
        lag_h=lag_h,
        gain=gain,
        slow_gain=slow_gain,
        offset_c=offset_c,
        sun_morning_c=morning_c,
        sun_afternoon_c=afternoon_c,
        spread_c=max(spread, 0.05),
        memory_h=memory_h(np.where(used, soil - columns @ coefficients, np.nan)),
        bias_c=float(errors.mean()),
        r2=1.0 - float(np.mean(left**2)) / total if total > 0 else 0.0,
        hours=int(used.sum()),
        from_s=float(grid_s[used][0]),
        to_s=float(grid_s[used][-1] + HOUR_S),
        air_low_c=float(np.nanmin(air[used])),
        air_high_c=float(np.nanmax(air[used])),
        zone=zone,
        latitude_deg=latitude_deg,
        longitude_deg=longitude_deg,
    )


def _need_overlap(air: FloatArray, soil: FloatArray, least_h: float, display: Display) -> None:
    both = np.isfinite(air) & np.isfinite(soil)
    if both.sum() < least_h:
        days = both.sum() / 24
        raise ShortOfDataError(
            f"Both were measured together for only {days:.1f} days; {least_h / 24:.0f} are needed to learn "
            "how one follows the other."
        )
    if np.ptp(air[both]) < LEAST_SWING_C:
        raise ShortOfDataError(
            f"The outside air changed by only {display.temp_span(float(np.ptp(air[both])), 1)} while both "
            f"were measured; {display.temp_span(LEAST_SWING_C)} are needed to learn how one follows the "
            "other."
        )


@dataclass(frozen=True, slots=True, eq=False)
class _Drive:
    """What draws the soil, each of shape (n, h): air, its slow part, sun of morning and afternoon."""

    air_c: FloatArray
    slow_c: FloatArray
    morning: FloatArray
    afternoon: FloatArray

    def columns(self, lag_h: float) -> FloatArray:
        """What each coefficient multiplies, shape (5, n, h)."""
        return np.stack(
            [
                first_order(self.air_c, lag_h),
                self.slow_c,
                np.ones_like(self.air_c),
                first_order(self.morning, lag_h),
                first_order(self.afternoon, lag_h),
            ]
        )


def _drive(
    grid_s: FloatArray,
    rows: FloatArray,
    zone: ZoneInfo,
    latitude_deg: float | None,
    longitude_deg: float | None,
) -> _Drive:
    air = bridged(rows)
    morning, afternoon = sun_shares(grid_s, air, zone, latitude_deg, longitude_deg)
    return _Drive(air, first_order(air, SLOW_H), morning, afternoon)


def _least(losses: FloatArray) -> float:
    """The lag with the least loss, between the grid's points by a parabola in log lag."""
    k = int(losses.argmin())
    logs = np.log(LAGS_H)
    if 0 < k < len(LAGS_H) - 1:
        before, here, after = losses[k - 1 : k + 2]
        bend = before - 2 * here + after
        if bend > 0:
            step = logs[k + 1] - logs[k]
            return float(np.exp(logs[k] + 0.5 * step * (before - after) / bend))
    return float(LAGS_H[k])
