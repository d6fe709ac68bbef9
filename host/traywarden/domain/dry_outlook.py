"""When a tray reaches its dry line: the time, its 80 % interval, or in words why there is none."""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike, NDArray

from traywarden.domain.foresight import Foresight
from traywarden.domain.psychrometrics import actual_vapour_pressure_kpa, saturation_vapour_pressure_kpa
from traywarden.domain.spread import Spread
from traywarden.domain.units import HOUR_S

Floats = NDArray[np.float64]

FARTHEST_H = 14 * 24.0
"""Beyond a fortnight a dry-down says nothing that weather and watering will not overrule (no source)."""
PATH_STEPS = 12


@dataclass(frozen=True, slots=True, eq=False)
class AirAhead:
    """Air of a place in hours to come, as a forecast has it; NaN where it is silent.

    `hour_s` is the start of each hour [s since 1970], one after the other; `source` says whose forecast.
    """

    hour_s: Floats
    air_temp_c: Floats
    vpd_kpa: Floats
    source: str


def air_ahead(
    hour_s: ArrayLike,
    place_air_c: ArrayLike,
    outside_air_c: ArrayLike,
    outside_rh_pct: ArrayLike,
    source: str,
) -> AirAhead:
    """Air of a place from its own temperature and the humidity outside.

    Parameters
    ----------
    hour_s : array, shape (n,) [s] since 1970, the starts of hours, one after the other
    place_air_c : array, shape (n,) [°C], the place's own air
    outside_air_c : array, shape (n,) [°C]
    outside_rh_pct : array, shape (n,) [%]
    source : str, whose forecast

    Returns
    -------
    AirAhead

    Notes
    -----
    The air of the place is taken to hold as much water as that outside: its vapour pressure is the same, and
    its deficit follows from its own temperature. Under a closed cover wet mix and leaves add some.

    References
    ----------
    FAO-56, equation 11 and chapter 3, “Vapour pressure deficit”.

    Examples
    --------
    >>> told = air_ahead([0.0], [25.0], [15.0], [60.0], "a forecast")
    >>> told.vpd_kpa.round(2).tolist()
    [2.14]
    """
    place = np.asarray(place_air_c, dtype=np.float64)
    held_kpa = actual_vapour_pressure_kpa(
        np.asarray(outside_air_c, dtype=np.float64), np.asarray(outside_rh_pct, dtype=np.float64)
    )
    deficit = np.maximum(saturation_vapour_pressure_kpa(place) - held_kpa, 0.0)
    return AirAhead(np.asarray(hour_s, dtype=np.float64), place, deficit, source)


@dataclass(frozen=True, slots=True)
class PathPoint:
    """When moisture is foreseen at a level, hours from now, with the 80 % interval."""

    level_m3_m3: float
    in_h: float
    low_h: float
    high_h: float


@dataclass(frozen=True, slots=True)
class DryOutlook:
    """Hours from now until the dry line. Where there is no outlook all three are None and `reason` says why.

    `earlier` dry-downs speak for the way to go, `learnt_from` for the interval (older ones and those of other
    trays count for less); `path` runs from now to the dry line.
    """

    in_h: float | None = None
    low_h: float | None = None
    high_h: float | None = None
    reason: str = ""
    level_m3_m3: float | None = None
    demand_share: float | None = None
    earlier: float = 0.0
    learnt_from: float = 0.0
    path: tuple[PathPoint, ...] = ()


def dry_outlook(
    now: Foresight,
    dry_line_m3_m3: float,
    now_s: float,
    spread: Spread | None = None,
    forecast: ArrayLike = (),
) -> DryOutlook:
    """When the present dry-down reaches the dry line.

    Parameters
    ----------
    now : Foresight of the present dry-down
    dry_line_m3_m3 : float [m³/m³]
    now_s : float [s] since 1970
    spread : Spread, optional; without one there is no interval and no path
    forecast : array, shape (m,), demand of the hours after the last measured one, as in `remaining_h`

    Returns
    -------
    DryOutlook

    Notes
    -----
    Moisture is that at the day's mean temperature, so that the daily swing of a sensor does not count.

    References
    ----------
    As `foresight` and `Spread.interval_h`.

    Examples
    --------
    >>> from traywarden.domain.drying import Drying
    >>> from traywarden.domain.foresight import foresight
    >>> from traywarden.domain.spread import NOTHING_LEARNT
    >>> hours = np.arange(72.0)
    >>> moist = 0.05 + 0.45 * np.exp(-hours / 60)
    >>> even = Drying(hours * 3600, moist, np.full(72, 20.0), np.ones(72), np.ones((72, 24)))
    >>> found = dry_outlook(foresight(even), 0.135, 72 * 3600.0, NOTHING_LEARNT)
    >>> round(found.in_h), round(found.low_h), round(found.high_h)
    (29, 11, 64)
    >>> dry_outlook(foresight(even), 0.04, 72 * 3600.0).reason
    'it levels off at about 0.05 m³/m³, before it is at the dry line'
    """
    last = now.drying.hours - 1
    level, left = float(now.speed.level_m3_m3[last]), now.speed.residual_m3_m3
    _, counts = now.need_h([last], [dry_line_m3_m3])
    plain = DryOutlook(
        level_m3_m3=round(level, 4), demand_share=round(now.share, 2), earlier=round(float(counts[0]), 1)
    )
    if dry_line_m3_m3 <= left:
        return replace(plain, reason=f"it levels off at about {left:.2f} m³/m³, before it is at the dry line")
    since_h = (now_s - float(now.drying.hour_s[last]) - HOUR_S) / HOUR_S
    steps = np.linspace(max(level, dry_line_m3_m3), dry_line_m3_m3, PATH_STEPS + 1)[1:]
    hours = np.maximum(now.remaining_h(np.full(PATH_STEPS, last), steps, forecast) - since_h, 0.0)
    if np.isnan(hours[-1]):
        return replace(plain, reason=_too_young(now.drying.hours))
    if hours[-1] > FARTHEST_H:
        days = FARTHEST_H / 24
        return replace(plain, reason=f"not within {days:.0f} days, if it goes on like this")
    if spread is None:
        return replace(plain, in_h=float(hours[-1]))
    # Of a young dry-down the first steps may be unknown where earlier ones began lower.
    known = np.isfinite(hours)
    steps, hours = steps[known], hours[known]
    low, high = spread.interval_h(hours)
    path = [
        PathPoint(round(float(m), 4), *(round(float(v), 2) for v in row))
        for m, *row in zip(steps, hours, low, high, strict=True)
    ]
    return replace(
        plain,
        in_h=float(hours[-1]),
        low_h=float(low[-1]),
        high_h=float(high[-1]),
        learnt_from=round(spread.dry_downs, 1),
        path=tuple(path) if level > dry_line_m3_m3 else (),
    )


def _too_young(hours: int) -> str:
    noun = "hour" if hours == 1 else "hours"
    return (
        f"it has dried for {hours} {noun} only; it takes half a day, or an earlier dry-down, to see how fast"
    )
