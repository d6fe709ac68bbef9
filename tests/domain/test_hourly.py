"""Hours of a head are what pandas makes of its readings; several heads are one by hours, not by readings."""

import numpy as np
import pandas as pd

from traywarden.domain.flags import Flag
from traywarden.domain.hourly import hourly, hourly_together
from traywarden.domain.psychrometrics import vpd_kpa
from traywarden.domain.series import SERIES_COLUMNS, FloatArray, HeadSeries


def series(time_s: FloatArray, flags: dict[str, list[int]] | None = None, **values: FloatArray) -> HeadSeries:
    blank = np.full(time_s.shape, np.nan)
    soil, wet, air, rh, rain, battery = (values.get(name, blank) for name in SERIES_COLUMNS)
    marks = {name: np.array((flags or {}).get(name, [0] * time_s.size)) for name in SERIES_COLUMNS}
    return HeadSeries("bench/1", time_s, soil, wet, True, air, rh, rain, battery, marks)


def test_hours_are_those_of_pandas_resampling() -> None:
    """General-purpose reference: pandas.Series.resample."""
    random = np.random.default_rng(7)
    time_s = np.sort(random.uniform(1_700_000_000, 1_700_000_000 + 5 * 86_400, 400))
    time_s = time_s[(time_s < time_s[0] + 86_400) | (time_s > time_s[0] + 2 * 86_400)]  # a day without any
    air, rh = random.normal(15, 5, time_s.size), random.uniform(40, 110, time_s.size)
    soil = np.where(random.random(time_s.size) < 0.1, np.nan, random.normal(12, 3, time_s.size))
    found = hourly(series(time_s, air_temp_c=air, rh_pct=rh, soil_temp_c=soil, rain_mm=np.abs(air)))
    frame = pd.DataFrame(
        {"air": air, "soil": soil, "rh": np.minimum(rh, 100), "rain": np.abs(air)},
        index=pd.to_datetime(time_s, unit="s"),
    )
    frame["vpd"] = vpd_kpa(air, frame["rh"].to_numpy())
    hours = frame.resample("1h")
    mean, low, high = hours.mean(), hours.min(), hours.max()
    assert found.hour_s.tolist() == [stamp.timestamp() for stamp in pd.DatetimeIndex(mean.index)]
    for ours, theirs in (
        (found.soil_temp_c, mean["soil"]),
        (found.soil_min_c, low["soil"]),
        (found.soil_max_c, high["soil"]),
        (found.air_temp_c, mean["air"]),
        (found.air_min_c, low["air"]),
        (found.air_max_c, high["air"]),
        (found.rh_pct, mean["rh"]),
        (found.vpd_kpa, mean["vpd"]),
        (found.rain_mm, hours["rain"].sum(min_count=1)),
    ):
        np.testing.assert_allclose(ours, theirs.to_numpy(), rtol=1e-12)
    assert np.isnan(found.soil_temp_c).any()


def test_what_is_left_out_counts_in_no_hour() -> None:
    head = series(
        np.array([0.0, 600.0]),
        {"soil_temp_c": [int(Flag.DISCONNECTED), 0]},
        soil_temp_c=np.array([-127.0, 8.0]),
    )
    assert hourly(head).soil_min_c.tolist() == [8.0]


def test_heads_together_count_alike_however_often_they_measured() -> None:
    often = hourly(series(np.arange(0.0, 3600.0, 60.0), soil_temp_c=np.full(60, 10.0)))
    seldom = hourly(series(np.array([1800.0, 5400.0]), soil_temp_c=np.array([20.0, 22.0])))
    both = hourly_together([often, seldom])
    assert both.soil_temp_c.tolist() == [15.0, 22.0]
    assert both.soil_min_c.tolist() == [10.0, 22.0]
    assert both.soil_max_c.tolist() == [20.0, 22.0]


def test_no_reading_makes_no_hour() -> None:
    assert hourly_together([hourly(series(np.empty(0)))]).hour_s.size == 0
