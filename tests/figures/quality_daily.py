"""What the tests find in two tables that are no series of a head: daily weather, and pairs of moisture."""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import pandas as pd

from tests.shared_data import shared_file
from traywarden.domain.flags import Flag
from traywarden.domain.habits import HabitParams, season_spans
from traywarden.domain.qartod import FAIL, SUSPECT, gross_range
from traywarden.domain.qartod_wide import climatology
from traywarden.domain.quality import LIMITS_OF, flag_values

BY_DAY = HabitParams(least_season_h=10)
"""Ten days to a month, as for a head, whose ten days are 240 hours."""


@dataclass(frozen=True, slots=True)
class Daily:
    """A column of daily weather: days, flags set, and of temperatures the days of the last year beyond what
    the month showed in the years before, with how far the farthest lies [standard deviations]."""

    column: str
    days: int
    by_flag: dict[str, int]
    unseasonable: int | None = None
    farthest_sd: float | None = None


def seattle() -> list[Daily]:
    table = pd.read_csv(shared_file("weather_seattle_daily.csv"))
    time_s = pd.to_datetime(table["date"]).to_numpy("datetime64[s]").astype(np.int64).astype(np.float64)
    dates = pd.to_datetime(table["date"])
    month, last = dates.dt.month.to_numpy().astype(np.int64), (dates.dt.year == 2015).to_numpy()
    found = []
    for column, name in (
        ("temp_max", "air_temp_c"),
        ("temp_min", "air_temp_c"),
        ("precipitation", "rain_mm"),
    ):
        values = table[column].to_numpy(np.float64)
        flags = flag_values(name, time_s, values)
        counted = {str(flag.name): int((flags & flag > 0).sum()) for flag in Flag}
        by_flag = {flag: number for flag, number in counted.items() if number}
        if name == "rain_mm":
            found.append(Daily(column, values.size, by_flag))
            continue
        spans = season_spans(month[~last], values[~last], BY_DAY)
        codes = climatology(month[last], values[last], spans)
        low, high = (np.array([spans[m][end] for m in month[last].tolist()]) for end in (0, 1))
        away_sd = np.abs(values[last] - (low + high) / 2) / ((high - low) / 2) * BY_DAY.season_times
        unseasonable = int((codes == SUSPECT).sum())
        found.append(Daily(column, values.size, by_flag, unseasonable, float(away_sd.max())))
    return found


@dataclass(frozen=True, slots=True)
class Pairs:
    """A sensor against weighed samples: pairs, those out of range, and how far off the sensor is [m³/m³]."""

    pairs: int
    out_of_range: int
    bias_m3_m3: float
    rms_m3_m3: float
    beyond_a_tenth: int
    correlation: float


def sensor_against_sample() -> Pairs:
    """Pairs without a time, from many spots: of the tests only the range can be asked."""
    table = pd.read_csv(shared_file("moisture_sensor_vs_sample.csv"))
    sensor, sample = (table[name].to_numpy(np.float64) for name in ("sensor_vwc", "sample_vwc"))
    limits = LIMITS_OF["moisture_m3_m3"]
    off = sensor - sample
    return Pairs(
        sensor.size,
        int((gross_range(sensor, (limits.lowest, limits.highest)) == FAIL).sum()),
        float(off.mean()),
        float(np.sqrt(np.mean(off**2))),
        int((np.abs(off) > 0.1).sum()),
        float(np.corrcoef(sensor, sample)[0, 1]),
    )


def lines() -> Iterator[str]:
    for day in seattle():
        flagged = ", ".join(f"{flag} {number}" for flag, number in day.by_flag.items()) or "none"
        season = (
            ""
            if day.farthest_sd is None
            else f"; in 2015 beyond mean ± 4 SD of the month in 2012–2014: {day.unseasonable}, farthest "
            f"at {day.farthest_sd:.1f} SD"
        )
        yield f"Seattle 2012–2015, {day.column}, {day.days} days: flagged {flagged}{season}"
    pairs = sensor_against_sample()
    yield (
        f"Sensor against weighed sample: {pairs.out_of_range} of {pairs.pairs} out of range, though "
        f"{pairs.beyond_a_tenth} are more than 0.10 m³/m³ off (bias {pairs.bias_m3_m3:+.3f}, root mean "
        f"square {pairs.rms_m3_m3:.3f}, r = {pairs.correlation:.2f})"
    )
