"""Places compared on recorded data: depths of a field as places, and a ranking asked again of other days."""

from collections.abc import Iterator
from datetime import date
from functools import cache
from zoneinfo import ZoneInfo

import numpy as np
import pandas as pd

from tests.figures import records
from tests.shared_data import shared_file
from traywarden.domain.many_places import PlaceSummary, side_by_side
from traywarden.domain.place_days import PlaceDays, PlaceHours, place_days
from traywarden.domain.ranking import Ranking, rank_places
from traywarden.domain.series import FloatArray
from traywarden.store.crops import load_crops

BONDVILLE = {
    "air": "air_temp_c",
    "soil, 2 cm": "soil_temp_2cm_c",
    "soil, 4 cm": "soil_temp_4cm_c",
    "soil, 8 cm": "soil_temp_8cm_c",
}
LOCAL = ZoneInfo("Etc/GMT+6")  # local standard time, UTC−6, all year
MONTHS = range(4, 11)
RANKED = ("air", "soil, 4 cm")


def _hourly(name: str, time_s: records.Floats, temp_c: records.Floats) -> PlaceHours:
    frame = pd.Series(temp_c, pd.to_datetime(time_s, unit="s")).resample("1h")
    mean, low, high = frame.mean(), frame.min(), frame.max()
    hour_s = records.seconds(pd.DatetimeIndex(mean.index))
    blank = np.full(hour_s.size, np.nan)
    mean_c, low_c, high_c = (np.asarray(each, np.float64) for each in (mean, low, high))
    return PlaceHours(name, hour_s, mean_c, low_c, high_c, blank)


@cache
def spans() -> dict[str, tuple[float, float]]:
    """Of every vegetable: “limits …” from minimum to maximum, “best …” its best range."""
    found = {}
    for crop in load_crops().values():
        top_c = crop.max_c or crop.opt_high_c
        if crop.kind == "vegetable" and crop.floor_c is not None and top_c is not None:
            found[f"limits {crop.key}"] = (crop.floor_c, top_c)
        if crop.kind == "vegetable" and crop.opt_low_c is not None and crop.opt_high_c is not None:
            found[f"best {crop.key}"] = (crop.opt_low_c, crop.opt_high_c)
    return found


@cache
def bondville_days() -> dict[str, PlaceDays]:
    table = pd.read_csv(shared_file("field_bondville_1998.csv")).replace(-6999.0, np.nan)
    # A stamp ends its half hour: the middle is a quarter of an hour earlier.
    time_s = records.seconds(pd.DatetimeIndex(pd.to_datetime(table["time_lst"])), -6) - 900
    return {
        name: place_days(
            _hourly(name, time_s, table[column].to_numpy(np.float64)),
            LOCAL,
            date(1998, 1, 1),
            date(1998, 12, 31),
            spans_c=spans(),
        )
        for name, column in BONDVILLE.items()
    }


def hours_off_by_hourly_means() -> tuple[float, float]:
    """Glasshouse inside, the worst vegetable: on average over days, and on one day [h a day]."""
    inside, _ = records.glasshouse()
    days = place_days(
        _hourly("inside", inside.time_s, inside.temp_c),
        ZoneInfo("UTC"),
        date(2022, 2, 1),
        date(2022, 3, 14),
        spans_c=spans(),
    )
    minutes = pd.Series(inside.temp_c, pd.to_datetime(inside.time_s, unit="s")).dropna()
    minutes = minutes.groupby(level=0).mean().resample("1min").mean().interpolate(limit=30)
    mean_off = day_off = 0.0
    for key, (low, high) in spans().items():
        theirs = minutes.between(low, high).resample("1D").sum() / 60
        off = pd.Series(days.inside_h[key], pd.to_datetime(list(days.days))) - theirs
        mean_off, day_off = max(mean_off, abs(float(off.mean()))), max(day_off, float(off.abs().mean()))
    return mean_off, day_off


def ranking(span: str, month: int, *, odd: bool) -> Ranking:
    """Air and soil ranked on the odd or the even dates of a month."""
    places = [bondville_days()[name].of_month(month) for name in RANKED]
    halves = [place.where(np.array([(day.day % 2 == 1) == odd for day in place.days])) for place in places]
    return rank_places(RANKED, [place.inside_h[span] for place in halves], runs=500)


def ranking_again(kind: str) -> tuple[int, int, int]:
    """Told apart on odd dates; the same order on even dates; surely the other order on even dates."""
    told = same = turned = 0
    for span in (name for name in spans() if name.startswith(kind)):
        for month in MONTHS:
            (first,) = ranking(span, month, odd=True).pairs
            if first.verdict == "better":
                (again,) = ranking(span, month, odd=False).pairs
                told += 1
                same += again.better == first.better
                turned += again.better != first.better and again.verdict == "better"
    return told, same, turned


def alike(rng: np.random.Generator, days: int, likeness: float) -> FloatArray:
    """Days that resemble the day before them: first-order autoregression, scatter 1."""
    series, shocks = np.zeros(days + 30), rng.normal(size=days + 30)
    for n in range(1, days + 30):
        series[n] = likeness * series[n - 1] + shocks[n] * np.sqrt(1 - likeness**2)
    return series[30:]


def wrongly_ranked(days: int, likeness: float, gardens: int = 150) -> float:
    """Share of made-up gardens in which one of three like places is called better than another."""
    rng = np.random.default_rng(20)
    wrong = 0
    for seed in range(gardens):
        weather = 2 * alike(rng, days, 0.5)
        hours = [8 + weather + 1.5 * alike(rng, days, likeness) for _ in range(3)]
        found = rank_places(["a", "b", "c"], hours, runs=300, seed=seed)
        wrong += any(pair.verdict == "better" for pair in found.pairs)
    return wrong / gardens


def july() -> list[PlaceSummary]:
    return side_by_side([place.of_month(7) for place in bondville_days().values()], reference=1)


def lines() -> Iterator[str]:
    yield "Bondville, July 1998: air and three depths as places, against soil at 2 cm"
    for place in july():
        mean, low = place.mean.half_warm_h, place.mean.low_c
        words = f"  {place.name}: half warm at {mean.estimate:.1f} h, night low {low.estimate:.1f} °C"
        if place.difference is not None:
            later = place.difference.half_warm_h
            words += f"; {later.estimate:+.2f} h ({later.low:+.2f} to {later.high:+.2f}, {later.n} days)"
        yield words
    for kind, words in (("limits", "minimum to maximum"), ("best", "best range")):
        told, same, turned = ranking_again(kind)
        yield (
            f"Air and soil at 4 cm ranked for every vegetable ({words}), April to October, odd dates: "
            f"{told} told apart; even dates give the same order in {same}, surely the other in {turned}"
        )
    mean_off, day_off = hours_off_by_hourly_means()
    yield (
        f"Hours in range from hours, glasshouse, worst vegetable: off by {mean_off:.2f} h a day on "
        f"average, by {day_off:.2f} h on a typical day"
    )
    for days in (7, 14, 28):
        wrong = [f"{wrongly_ranked(days, likeness) * 100:.0f} %" for likeness in (0.0, 0.3, 0.5)]
        yield (
            f"Three like places over {days} days: one called better in {wrong[0]} of made-up gardens with "
            f"independent days, {wrong[1]} where each resembles the last by 0.3, {wrong[2]} by 0.5"
        )
