"""Dry-downs: how fast a mix loses water between two wettings."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike, NDArray

from traywarden.domain.exponential import Exponential, Loss, fit_exponential
from traywarden.domain.stretches import END_OF_READINGS, stretches
from traywarden.domain.units import HOUR_S
from traywarden.domain.wetting import DAY_S, Wetting

Floats = NDArray[np.float64]

LN2 = float(np.log(2.0))


@dataclass(frozen=True, slots=True)
class DryDownParams:
    """What a stretch must have before it says anything. Values marked (no source) are common practice."""

    drain_s: float = HOUR_S
    """A stretch begins this long after the peak: free water drains within 10–15 min of saturation
    (drainage-pot method, Purdue Univ.), and fourfold that is safe (no source for the factor)."""
    longest_gap_s: float = 12 * HOUR_S
    """A longer gap ends a stretch: a watering could hide in it (no source)."""
    least_points: int = 8
    least_span_s: float = 12 * HOUR_S
    """Less than half a day shows the daily swing, not drying (no source)."""
    least_drop_m3_m3: float = 0.02
    """Smaller drops (m³/m³, between the first and the last sixth of the stretch) drown in the daily swing."""
    most_relative_error: float = 0.5
    """A time constant known no better than this (standard error / value) is not reported (no source)."""
    least_span_in_tau: float = 1.0
    """The residual is fitted only when the stretch lasts this many time constants (63 % of the way down)."""
    held_residual_m3_m3: float = 0.05
    """Residual [m³/m³] where it cannot be fitted: soilless media keep 5–14 % at −1 to −2 MPa (Fields et al.
    2020, Agronomy 10:1393). Never above half the lowest reading."""
    loss: Loss = "soft_l1"
    """How outliers are taken: see `fit_exponential`."""


DEFAULT_PARAMS = DryDownParams()
RULES = 1
"""Raise it with every change to what is fitted, or said of it: what was kept is then fitted anew."""


@dataclass(frozen=True, slots=True)
class DryDown:
    """One dry-down. Where it cannot tell, `tau_s` and what hangs on it are None and `reason` says why.

    In another unit of moisture (mm of a profile) the `_m3_m3` fields are in that unit.
    """

    start_s: float
    end_s: float
    n: int
    first_m3_m3: float
    last_m3_m3: float
    tau_s: float | None
    tau_error_s: float | None
    theta0_m3_m3: float | None
    residual_m3_m3: float | None
    residual_held: bool
    half_life_s: float | None
    rate_pct_per_day: float | None
    mid_m3_m3: float | None
    r2: float | None
    reason: str
    ended_by: str = END_OF_READINGS

    @property
    def span_s(self) -> float:
        return self.end_s - self.start_s

    @property
    def told(self) -> bool:
        """Whether the stretch says how fast it dried."""
        return self.tau_s is not None


def fit_dry_down(
    time_s: ArrayLike,
    moisture_m3_m3: ArrayLike,
    *,
    residual_m3_m3: float | None = None,
    container_capacity_m3_m3: float | None = None,
    mid_m3_m3: float | None = None,
    ended_by: str = END_OF_READINGS,
    params: DryDownParams = DEFAULT_PARAMS,
) -> DryDown:
    """Fit an exponential approach to a residual to one dry-down.

    Parameters
    ----------
    time_s : array, shape (n,) [s], ascending
    moisture_m3_m3 : array, shape (n,) [m³/m³] (any unit works, the same comes back); NaN values are left out
    residual_m3_m3 : float, optional; holds the residual at this value
    container_capacity_m3_m3 : float, optional; the rate is given in percent of it per day
    mid_m3_m3 : float, optional; moisture at which the rate is taken, by default midway down this stretch.
        Midway between container capacity and dry line makes stretches comparable.
    ended_by : str, what ended the stretch, passed through
    params : what the stretch must have

    Returns
    -------
    DryDown; times in seconds, rate in % of container capacity per day

    Notes
    -----
    θ(t) = θw + (θ0 − θw)·exp(−t/τ), fitted with soft-L1 loss whose scale is the scatter of a plain fit.
    Half-life = τ·ln 2 (of the water above the residual); rate at θ = (θ − θw)/τ, none where the stretch
    levels off above `mid_m3_m3`. The residual is fitted only if the stretch spans `least_span_in_tau` time
    constants and the fit settles; else it is held, and the reason says at which value. The standard error
    takes neighbouring errors as correlated (lag-1), so a daily swing does not pass for precision. r² is that
    of plain residuals.

    Raises
    ------
    ValueError if the arrays differ in length.

    References
    ----------
    McColl et al. 2017 (model of surface dry-downs); soft-L1: as in scipy.optimize.least_squares.

    Examples
    --------
    >>> import numpy as np
    >>> time_s = np.arange(0, 5 * 86400, 3600.0)
    >>> fit = fit_dry_down(time_s, 0.15 + 0.45 * np.exp(-time_s / 216000.0))
    >>> round(fit.tau_s / 86400, 3), round(fit.residual_m3_m3, 3), fit.residual_held
    (2.5, 0.15, False)
    """
    times, moisture = np.asarray(time_s, dtype=np.float64), np.asarray(moisture_m3_m3, dtype=np.float64)
    if times.shape != moisture.shape or times.ndim != 1:
        raise ValueError("time and moisture must be one-dimensional and equally long")
    known = np.isfinite(moisture)
    times, moisture = times[known], moisture[known]
    short = _too_short(times, moisture, params)
    if short:
        return _untold(times, moisture, short, ended_by)
    fit, said = _best_fit(times - times[0], moisture, residual_m3_m3, params)
    if fit.tau_error_s > params.most_relative_error * fit.tau_s:
        days, span = fit.tau_s / DAY_S, (times[-1] - times[0]) / DAY_S
        reason = (
            f"too short to say: {span:.1f} days against a time constant of about {days:.0f} days or unknown"
        )
        return _untold(times, moisture, reason, ended_by)
    edge = max(1, moisture.size // 6)
    mid = mid_m3_m3
    if mid is None:
        mid = float(np.median(moisture[:edge]) + np.median(moisture[-edge:])) / 2
    rate = None
    if mid <= fit.residual:
        said = "; ".join([*filter(None, [said]), f"levels off above {mid:.3g}, where the rate is asked for"])
    elif container_capacity_m3_m3 is not None:
        rate = (mid - fit.residual) / fit.tau_s * DAY_S / container_capacity_m3_m3 * 100
    return DryDown(
        start_s=float(times[0]),
        end_s=float(times[-1]),
        n=times.size,
        first_m3_m3=float(moisture[0]),
        last_m3_m3=float(moisture[-1]),
        tau_s=fit.tau_s,
        tau_error_s=fit.tau_error_s,
        theta0_m3_m3=fit.residual + fit.amplitude,
        residual_m3_m3=fit.residual,
        residual_held=fit.held,
        half_life_s=fit.tau_s * LN2,
        rate_pct_per_day=rate,
        mid_m3_m3=mid,
        r2=fit.r2,
        reason=said,
        ended_by=ended_by,
    )


def dry_downs(
    time_s: ArrayLike,
    moisture_m3_m3: ArrayLike,
    wettings: Sequence[Wetting],
    soil_temp_c: ArrayLike | None = None,
    *,
    residual_m3_m3: float | None = None,
    container_capacity_m3_m3: float | None = None,
    mid_m3_m3: float | None = None,
    params: DryDownParams = DEFAULT_PARAMS,
    fit: Callable[..., DryDown] = fit_dry_down,
) -> list[DryDown]:
    """The dry-downs of a series: every stretch between wettings, frost and gaps.

    Parameters
    ----------
    time_s, moisture_m3_m3, wettings, soil_temp_c : as in `stretches.stretches`
    residual_m3_m3, container_capacity_m3_m3, mid_m3_m3, params : as in `fit_dry_down`
    fit : `fit_dry_down`, or what gives the same in less time

    Returns
    -------
    list of DryDown, oldest first; those too short to say among them, with the reason

    Notes
    -----
    The stretches are those of `stretches`.

    Raises
    ------
    ValueError if the arrays differ in length.

    References
    ----------
    As in `fit_dry_down`.

    Examples
    --------
    >>> import numpy as np
    >>> time_s = np.arange(0, 5 * 86400, 3600.0)
    >>> [one] = dry_downs(time_s, 0.15 + 0.45 * np.exp(-time_s / 216000.0), [])
    >>> one.n, one.ended_by
    (120, 'end of readings')
    """
    times, moisture = np.asarray(time_s, dtype=np.float64), np.asarray(moisture_m3_m3, dtype=np.float64)
    found = stretches(
        times, moisture, wettings, soil_temp_c, drain_s=params.drain_s, longest_gap_s=params.longest_gap_s
    )
    return [
        replace(
            fit(
                times[stretch.readings],
                moisture[stretch.readings],
                residual_m3_m3=residual_m3_m3,
                container_capacity_m3_m3=container_capacity_m3_m3,
                mid_m3_m3=mid_m3_m3,
                params=params,
            ),
            ended_by=stretch.ended_by,
        )
        for stretch in found
    ]


def _too_short(times: Floats, moisture: Floats, params: DryDownParams) -> str:
    if times.size < params.least_points:
        noun = "reading" if times.size == 1 else "readings"
        return f"too short to say: {times.size} {noun} of the {params.least_points} it takes"
    span_s = float(times[-1] - times[0])
    if span_s < params.least_span_s:
        return (
            f"too short to say: {span_s / HOUR_S:.0f} h of the {params.least_span_s / HOUR_S:.0f} h it takes"
        )
    edge = max(1, moisture.size // 6)
    drop = float(np.median(moisture[:edge]) - np.median(moisture[-edge:]))
    if drop < params.least_drop_m3_m3:
        return f"too short to say: fell by {max(drop, 0.0):.3f} of the {params.least_drop_m3_m3:g} it takes"
    return ""


def _untold(times: Floats, moisture: Floats, reason: str, ended_by: str) -> DryDown:
    return DryDown(
        start_s=float(times[0]) if times.size else float("nan"),
        end_s=float(times[-1]) if times.size else float("nan"),
        n=times.size,
        first_m3_m3=float(moisture[0]) if times.size else float("nan"),
        last_m3_m3=float(moisture[-1]) if times.size else float("nan"),
        tau_s=None,
        tau_error_s=None,
        theta0_m3_m3=None,
        residual_m3_m3=None,
        residual_held=False,
        half_life_s=None,
        rate_pct_per_day=None,
        mid_m3_m3=None,
        r2=None,
        reason=reason,
        ended_by=ended_by,
    )


def _best_fit(
    elapsed_s: Floats, moisture: Floats, residual: float | None, params: DryDownParams
) -> tuple[Exponential, str]:
    """The fit, with the residual fitted where the data allow it, and what is to be said about it."""
    if residual is not None:
        fit = fit_exponential(elapsed_s, moisture, residual, params.loss)
        return fit, f"residual held at the given {residual:g}"
    free = fit_exponential(elapsed_s, moisture, None, params.loss)
    settled = (
        elapsed_s[-1] >= params.least_span_in_tau * free.tau_s * (1 - 1e-9)  # no solver is more exact
        and free.tau_error_s <= params.most_relative_error * free.tau_s
        and free.residual > 1e-6
    )
    if settled:
        return free, ""
    held = min(params.held_residual_m3_m3, float(moisture.min()) / 2)
    fit = fit_exponential(elapsed_s, moisture, held, params.loss)
    return fit, f"did not dry far enough to show where it levels off; taken as {held:.2g}"
