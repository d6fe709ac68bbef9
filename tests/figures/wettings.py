"""How well wettings are found in the recorded series. Rain only judges them; the detector never sees it."""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import pandas as pd

from tests.figures import records
from traywarden.domain.dry_down import dry_downs
from traywarden.domain.waterings import Wetting, find_wettings, frozen_mask

FORD_RAINS = ("01-11", "01-26", "01-30", "03-01", "05-15", "07-19", "07-30", "10-20")


def onset(record: records.Record, wetting: Wetting) -> pd.Timestamp:
    """The onset as a local stamp of the record."""
    return record.local[int(np.searchsorted(record.time_s, wetting.onset_s))]


@dataclass(frozen=True, slots=True)
class RainDay:
    start: pd.Timestamp
    rain_mm: float
    found: pd.Timestamp | None


@dataclass(frozen=True, slots=True)
class Bondville:
    in_january_frost: list[pd.Timestamp]
    rain_days: list[RainDay]
    dry_days: int
    false: list[pd.Timestamp]
    dry_down_part: float
    dry_down_count: int
    wettings: int

    @property
    def false_in_30_days(self) -> float:
        return len(self.false) / self.dry_days * 30


def bondville(soil_temp: str = "soil_temp_2cm_c") -> Bondville:
    record = records.bondville(soil_temp)
    wettings = find_wettings(record.time_s, record.moisture_m3_m3, record.soil_temp_c)
    onsets = [onset(record, w) for w in wettings]
    frozen = frozen_mask(record.time_s, record.soil_temp_c)
    days = pd.DataFrame({"rain_mm": record.rain_mm, "frozen": frozen}, index=record.local.normalize())
    by_day = days.groupby(level=0).agg({"rain_mm": "sum", "frozen": "any"})
    dry_days = by_day.index[(by_day["rain_mm"] == 0) & ~by_day["frozen"]]
    rainy = record.local[record.rain_mm > 0]
    # Rain late on the day before may arrive on the next: the twelve hours the desert record allows, too.
    false = [
        o
        for o in onsets
        if o.normalize() in dry_days and not ((rainy > o - pd.Timedelta("12h")) & (rainy <= o)).any()
    ]
    first, last = pd.Timestamp("1998-08-11"), pd.Timestamp("1998-09-15")
    downs = [
        d
        for d in dry_downs(record.time_s, record.moisture_m3_m3, wettings, record.soil_temp_c)
        if d.told and _overlap_s(record, d.start_s, d.end_s, first, last) > 0
    ]
    covered_s = sum(_overlap_s(record, d.start_s, d.end_s, first, last) for d in downs)
    return Bondville(
        in_january_frost=[o for o in onsets if pd.Timestamp("1998-01-13") <= o < pd.Timestamp("1998-01-22")],
        rain_days=_rain_days(onsets),
        dry_days=len(dry_days),
        false=false,
        dry_down_part=covered_s / (last - first).total_seconds(),
        dry_down_count=len(downs),
        wettings=len(wettings),
    )


def _overlap_s(
    record: records.Record, start_s: float, end_s: float, first: pd.Timestamp, last: pd.Timestamp
) -> float:
    shift_s = record.time_s[0] - (record.local[0] - pd.Timestamp(0)).total_seconds()
    low, high = ((t - pd.Timestamp(0)).total_seconds() + shift_s for t in (first, last))
    return float(max(0.0, min(end_s, high) - max(start_s, low)))


def _rain_days(onsets: list[pd.Timestamp]) -> list[RainDay]:
    """Days of ≥ 10 mm, 2 cm soil above 1 °C the day before and after, moisture ≤ 0.38 as the day began."""
    record = records.bondville("soil_temp_2cm_c")
    table = pd.DataFrame(
        {"rain_mm": record.rain_mm, "temp_c": record.soil_temp_c, "moisture": record.moisture_m3_m3},
        index=record.local,
    )
    day_length = pd.Timedelta("1D")
    by_day = table.groupby(record.local.normalize()).agg(
        {"rain_mm": "sum", "temp_c": "min", "moisture": "first"}
    )
    found = []
    for day in by_day.index[by_day["rain_mm"] >= 10]:
        warm = all(by_day["temp_c"].get(d, np.nan) > 1 for d in (day - day_length, day + day_length))
        if not warm or by_day["moisture"][day] > 0.38 + 1e-9:
            continue
        stamps = record.local[(record.local.normalize() == day) & (record.rain_mm > 0)]
        start = stamps[0] - pd.Timedelta("30min")  # the stamp ends its half hour
        hits = [o for o in onsets if start - pd.Timedelta("30min") <= o <= start + pd.Timedelta("30h")]
        found.append(RainDay(start, float(by_day["rain_mm"][day]), hits[0] if hits else None))
    return found


@dataclass(frozen=True, slots=True)
class Ford:
    found: dict[str, pd.Timestamp | None]
    elsewhere: list[pd.Timestamp]
    wettings: int


def ford() -> Ford:
    record = records.ford_dry_lake()
    wettings = find_wettings(record.time_s, record.moisture_m3_m3, record.soil_temp_c)
    onsets = [onset(record, w) for w in wettings]
    rainy = record.local[record.rain_mm > 0]
    # The onset is the last reading before the rise, so the hour that rained may end one reading later.
    far = [
        o
        for o in onsets
        if not ((rainy >= o - pd.Timedelta("12h")) & (rainy <= o + pd.Timedelta("1h"))).any()
    ]
    found = {}
    for rain in FORD_RAINS:
        start = pd.Timestamp(f"2015-{rain}")
        hits = [o for o in onsets if start <= o < start + pd.Timedelta("48h")]
        found[rain] = hits[0] if hits else None
    return Ford(found, far, len(wettings))


def dry_season(*, passed_only: bool, with_temperature: bool) -> dict[int, list[Wetting]]:
    return {
        plot: find_wettings(r.time_s, r.moisture_m3_m3, r.soil_temp_c if with_temperature else None)
        for plot, r in records.dry_season(passed_only=passed_only).items()
    }


def lines() -> Iterator[str]:
    for depth in ("2cm", "4cm"):
        b = bondville(f"soil_temp_{depth}_c")
        yield f"Bondville 1998, moisture at 5 cm, soil temperature at {depth}: {b.wettings} wettings"
        yield f"  reported 13–21 January (freeze and thaw): {len(b.in_january_frost)}"
        yield (
            f"  11 August–14 September: {b.dry_down_count} dry-down(s) cover {b.dry_down_part * 100:.1f} %"
        )
        hits = sum(r.found is not None for r in b.rain_days)
        yield f"  rains of 10 mm and more on thawed, not yet wet soil: {hits} of {len(b.rain_days)} found"
        for day in b.rain_days:
            words = f"wetting from {day.found}" if day.found is not None else "no wetting"
            yield f"    {day.start}  {day.rain_mm:4.1f} mm  {words}"
        yield (
            f"  false wettings: {len(b.false)} in {b.dry_days} unfrozen days without rain "
            f"({b.false_in_30_days:.2f} in 30 days) {', '.join(map(str, b.false))}"
        )
    f = ford()
    hits = sum(o is not None for o in f.found.values())
    yield f"Ford Dry Lake 2015, 2 inch sensor: {f.wettings} wettings, {hits} of {len(f.found)} rains found"
    for rain, found in f.found.items():
        yield f"    rain of {rain}: {'wetting from ' + str(found) if found is not None else 'no wetting'}"
    yield f"  outside the 12 h after recorded rain: {len(f.elsewhere)}"
    b, f = bondville(), ford()
    hits, rains = sum(r.found is not None for r in b.rain_days), len(b.rain_days)
    yield (
        f"Precision and recall, Bondville: {hits} of {rains} rains found (recall {hits / rains:.2f}), "
        f"{len(b.false)} of {b.wettings} wettings false (precision {1 - len(b.false) / b.wettings:.2f})"
    )
    hits, rains = sum(o is not None for o in f.found.values()), len(f.found)
    yield (
        f"Precision and recall, Ford Dry Lake: {hits} of {rains} (recall {hits / rains:.2f}), "
        f"{len(f.elsewhere)} of {f.wettings} false (precision {1 - len(f.elsewhere) / f.wettings:.2f})"
    )
    for passed_only in (False, True):
        for with_temperature in (True, False):
            plots = dry_season(passed_only=passed_only, with_temperature=with_temperature)
            yield (
                f"Dry season June 2022, {len(plots)} plots, "
                f"{'only values that passed final_qf' if passed_only else 'all values'}, "
                f"{'with' if with_temperature else 'without'} soil temperature: "
                f"{sum(map(len, plots.values()))} wettings"
            )
