"""Forecasts and past weather are kept once each, and go when they are told to."""

import numpy as np

from traywarden.store import outside
from traywarden.store.store import Store

HOUR_MS = 3_600_000


def hours(first: int, count: int) -> "np.typing.NDArray[np.int64]":
    return (first + np.arange(count, dtype=np.int64)) * HOUR_MS


def test_a_forecast_comes_back_as_it_was_issued_and_the_newest_first(store: Store) -> None:
    with store.write() as tx:
        outside.put_forecast(tx, "a", 1000, hours(1, 3), {"air_temp_c": np.array([1.0, np.nan, 3.0])})
        outside.put_forecast(
            tx, "b", 2000, hours(1, 2), {"air_temp_c": np.array([5.0, 6.0]), "wind_m_s": np.array([2.0, 3.0])}
        )
    with store.read() as tx:
        newest = outside.newest_forecast(tx, 5000)
        older = outside.newest_forecast(tx, 1999)
        assert outside.newest_forecast(tx, 999) is None
        everything = outside.forecasts_issued(tx, 0, 5000)
    assert newest is not None
    assert older is not None
    assert (newest.source, newest.issued_s, newest.end_s) == ("b", 2.0, 3 * 3600.0)
    np.testing.assert_array_equal(newest.wind_m_s, [2.0, 3.0])
    np.testing.assert_array_equal(newest.rh_pct, [np.nan, np.nan])
    # An hour that says nothing is no hour of it.
    np.testing.assert_array_equal(older.time_s, [3600.0, 3 * 3600.0])
    assert [each.source for each in everything] == ["a", "b"]


def test_the_same_issue_again_replaces_and_another_adds(store: Store) -> None:
    with store.write() as tx:
        outside.put_forecast(tx, "a", 1000, hours(1, 3), {"air_temp_c": np.ones(3)})
        outside.put_forecast(tx, "a", 1000, hours(1, 2), {"air_temp_c": np.zeros(2)})
        outside.put_forecast(tx, "a", 3000, hours(1, 2), {"air_temp_c": np.ones(2)})
    with store.read() as tx:
        first, second = outside.forecasts_issued(tx, 0, 5000)
    np.testing.assert_array_equal(first.air_temp_c, [0.0, 0.0])
    np.testing.assert_array_equal(second.air_temp_c, [1.0, 1.0])


def test_days_are_kept_once_and_the_last_word_holds(store: Store) -> None:
    day = np.arange(15_000, 16_200, dtype=np.int64)
    with store.write() as tx:
        values = {"air_min_c": np.arange(1200.0), "air_max_c": np.arange(1200.0) + 8}
        assert outside.put_days(tx, "station", day, values) == 1200
        assert outside.put_days(tx, "station", day[1190:], {"air_min_c": np.full(10, -1.0)}) == 0
    with store.read() as tx:
        (found,) = outside.weather_days(tx)
    np.testing.assert_array_equal(found.day, day)
    assert found.air_min_c[1189] == 1189
    assert found.air_min_c[1190] == -1
    assert np.isnan(found.air_max_c[1190])
    assert str(found.date(0)) == "2011-01-26"


def test_a_source_that_is_forgotten_is_gone_and_no_other(store: Store) -> None:
    with store.write() as tx:
        outside.put_forecast(tx, "a", 1000, hours(1, 3), {"air_temp_c": np.ones(3)})
        outside.put_days(tx, "a", np.array([1, 2]), {"rain_mm": np.ones(2)})
        outside.put_days(tx, "b", np.array([1]), {"rain_mm": np.ones(1)})
        assert outside.forget(tx, "a") == (3, 2)
        assert outside.sources(tx) == ["b"]
