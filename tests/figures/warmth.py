"""What warmth does to recorded moisture sensors, and what is left when it is taken out.

Rain only judges the wettings; neither the detector nor the temperature effect ever sees it.
"""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import pandas as pd

from tests.figures import records
from tests.figures.wettings import FORD_RAINS, onset
from traywarden.domain.temperature_effect import TemperatureEffect, temperature_effect, without_temperature
from traywarden.domain.waterings import Wetting, find_wettings
from traywarden.domain.wetting import WettingParams

BARE = WettingParams(temperature_effect_m3_m3_per_c=0.0, habit_days=0)
"""The detector without its own allowances for warming and for what happens every day."""
HOUR_S = 3600.0


def hourly(record: records.Record) -> tuple[records.Floats, records.Floats, records.Floats]:
    """Whole hours (the start of each), moisture and soil temperature."""
    hours = (record.time_s // HOUR_S).astype(np.int64)
    at, count = hours - hours[0], int(hours[-1] - hours[0]) + 1

    def mean(values: records.Floats) -> records.Floats:
        known = np.isfinite(values)
        number = np.bincount(at[known], minlength=count)
        sums = np.bincount(at[known], values[known], count)
        return np.where(number > 0, sums / np.maximum(number, 1), np.nan)

    hour_s = (hours[0] + np.arange(count, dtype=np.float64)) * HOUR_S
    return hour_s, mean(record.moisture_m3_m3), mean(record.soil_temp_c)


def effect_of(record: records.Record, first: float = 0.0, last: float = 1.0) -> TemperatureEffect:
    """The temperature effect as a part of the record shows it."""
    hour_s, wet, warm_c = hourly(record)
    part = slice(round(first * hour_s.size), round(last * hour_s.size))
    wettings = find_wettings(record.time_s, record.moisture_m3_m3, record.soil_temp_c)
    return temperature_effect(hour_s[part], wet[part], warm_c[part], wettings)


def corrected(record: records.Record, effect: TemperatureEffect) -> records.Floats:
    return without_temperature(record.time_s, record.moisture_m3_m3, record.soil_temp_c, effect)


def noon_rise_m3_m3(record: records.Record, moisture_m3_m3: records.Floats, first: float = 0.0) -> float:
    """Median over dry days of what the hours around 14:00 read above those around 6:00."""
    rainy = pd.Series(record.rain_mm, index=record.local).resample("1D").sum().rolling(5).sum() > 0
    wet = pd.Series(moisture_m3_m3, index=record.local)
    by_hour = wet.groupby([record.local.normalize(), record.local.hour]).mean().unstack()
    rise = by_hour[[13, 14, 15]].mean(axis=1) - by_hour[[5, 6, 7]].mean(axis=1)
    rise = rise[~rainy.reindex(rise.index, fill_value=False)]
    return float(rise.iloc[round(first * len(rise)) :].median())


@dataclass(frozen=True, slots=True)
class Judged:
    """Wettings of Ford Dry Lake: rains found, wettings within 12 h of rain, and all."""

    found: int
    real: int
    reported: int


def judged(moisture_m3_m3: records.Floats, params: WettingParams | None = None) -> Judged:
    record = records.ford_dry_lake()
    wettings = (
        find_wettings(record.time_s, moisture_m3_m3, record.soil_temp_c)
        if params is None
        else find_wettings(record.time_s, moisture_m3_m3, record.soil_temp_c, params)
    )
    onsets = [onset(record, w) for w in wettings]
    rainy = record.local[record.rain_mm > 0]
    real = sum(
        bool(((rainy >= o - pd.Timedelta("12h")) & (rainy <= o + pd.Timedelta("1h"))).any()) for o in onsets
    )
    starts = [pd.Timestamp(f"2015-{rain}") for rain in FORD_RAINS]
    found = sum(any(s <= o < s + pd.Timedelta("48h") for o in onsets) for s in starts)
    return Judged(found, real, len(onsets))


def dry_season() -> dict[int, tuple[TemperatureEffect, list[Wetting], list[Wetting]]]:
    """Per plot: the effect, and wettings after taking it out, with and without telling soil temperature."""
    found = {}
    for plot, record in records.dry_season(passed_only=False).items():
        effect = effect_of(record)
        after = corrected(record, effect)
        found[plot] = (
            effect,
            find_wettings(record.time_s, after, record.soil_temp_c),
            find_wettings(record.time_s, after),
        )
    return found


def lines() -> Iterator[str]:
    record = records.ford_dry_lake()
    before, effect = record.moisture_m3_m3, effect_of(record)
    after = corrected(record, effect)
    yield f"Ford Dry Lake 2015, 2 inch sensor: {_words(effect)}"
    yield f"  noon over morning on dry days: {_noon(record, before, after)}"
    half = effect_of(record, last=0.5)
    yield f"  learned from January to June alone: {_words(half)}"
    yield f"    noon over morning, July to December: {_noon(record, before, corrected(record, half), 0.5)}"
    for words, params in (("as the detector is", None), ("without its own allowances", BARE)):
        for when, values in (("before", before), ("after", after)):
            j = judged(values, params)
            recall, precision = j.found / len(FORD_RAINS), j.real / j.reported
            yield f"  wettings {words}, {when}: recall {recall:.2f} ({j.found} of {len(FORD_RAINS)} rains)"
            yield f"    precision {precision:.2f} ({j.real} of {j.reported} near rain)"
    for plot, (found, with_soil, without) in dry_season().items():
        yield f"Dry season June 2022, plot {plot}: {_words(found)}"
        yield f"  wettings after: {len(with_soil)} with soil temperature, {len(without)} without"


def _noon(record: records.Record, before: records.Floats, after: records.Floats, first: float = 0.0) -> str:
    rises = [noon_rise_m3_m3(record, values, first) for values in (before, after)]
    return f"{rises[0]:+.4f} m³/m³ before, {rises[1]:+.4f} after"


def _words(effect: TemperatureEffect) -> str:
    if effect.m3_m3_per_c is None or effect.removed_share is None or effect.low_m3_m3_per_c is None:
        return effect.reason
    what = "taken out" if effect.used else f"left in ({effect.reason})"
    return (
        f"{effect.m3_m3_per_c:+.1e} m³/m³ per °C [{effect.low_m3_m3_per_c:+.1e} to "
        f"{effect.high_m3_m3_per_c:+.1e}], lag {effect.lag_s / HOUR_S:+.0f} h; {what}; removes "
        f"{effect.removed_share * 100:.0f} % of the wiggle out of sample"
    )
