"""Days of a place against xclim; alone in its file because xclim is slow to import."""

import warnings
from datetime import date, timedelta
from zoneinfo import ZoneInfo

import numpy as np
import pandas as pd
import pytest

with warnings.catch_warnings():
    # xclim's imports announce their own deprecations; nothing of ours.
    warnings.simplefilter("ignore")
    import xarray
    from xclim.indices import daily_temperature_range, tn_mean

from traywarden.domain.place_days import PlaceHours, place_days

FIRST = date(2026, 3, 1)


def test_lows_and_ranges_of_a_month_are_those_of_xclim() -> None:
    """xclim.indices.tn_mean and daily_temperature_range on daily extremes resampled by pandas."""
    rng = np.random.default_rng(5)
    at_h = np.arange(40 * 24)
    temp_c = 12 + 6 * np.sin((at_h % 24 - 9) / 24 * 2 * np.pi) + rng.normal(0, 0.8, at_h.size)
    hour_s = pd.Timestamp(FIRST, tz="UTC").timestamp() + 3600.0 * at_h.astype(np.float64)
    bench = PlaceHours("bench", hour_s, temp_c, temp_c - 0.3, temp_c + 0.4, np.full(at_h.size, np.nan))
    march = place_days(bench, ZoneInfo("UTC"), FIRST, FIRST + timedelta(39)).of_month(3)
    daily = pd.DataFrame(
        {"low": temp_c - 0.3, "high": temp_c + 0.4}, pd.date_range(FIRST, periods=at_h.size, freq="h")
    )
    daily = daily.resample("1D").agg({"low": "min", "high": "max"})
    low, high = (
        xarray.DataArray(daily[name], coords={"time": daily.index}, dims="time", attrs={"units": "degC"})
        for name in ("low", "high")
    )
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        lows, ranges = tn_mean(low, freq="MS"), daily_temperature_range(low, high, freq="MS")
    assert march.low_c.mean() == pytest.approx(float(lows[0]), rel=1e-9)
    assert march.range_c.mean() == pytest.approx(float(ranges[0]), rel=1e-9)
