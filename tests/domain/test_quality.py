"""Faults in readings are found, named, and never more than they are."""

import json
import math
from collections.abc import Callable
from typing import Any

import numpy as np
import pandas as pd
import pytest

from tests.domain.heads import bondville, dry_season, ford_dry_lake, glasshouse_inside, head_columns
from tests.shared_data import reference_file
from traywarden.domain.flags import LEFT_OUT, POLICY, Flag, counts, names
from traywarden.domain.frost import frozen
from traywarden.domain.qartod import flat_line, gross_range, rate_of_change, spike
from traywarden.domain.quality import (
    LIMITS,
    clock_impossible,
    flag_columns,
    flag_values,
    power_up_values,
)
from traywarden.domain.readings import BOOT_IMPORTED, VALUE_COLUMNS
from traywarden.domain.series import FloatArray, HeadColumns

HOUR_S = 3600.0
HOUR_MS = 3_600_000
START_MS = 1_772_323_200_000  # 2026-03-01 00:00 UTC


def _array(values: list[float | None]) -> FloatArray:
    return np.array([math.nan if v is None else v for v in values], dtype=np.float64)


def _steps(count: int, step_s: float) -> FloatArray:
    return np.arange(count, dtype=np.float64) * step_s


def _published() -> list[dict[str, Any]]:
    vectors: list[dict[str, Any]] = json.loads(reference_file("qartod_vectors.json").read_text("utf-8"))[
        "vectors"
    ]
    return vectors


def test_every_published_qartod_vector_is_reproduced() -> None:
    """ioos_qc test suite, commit 9c1853a4: codes are whole numbers, so they must be equal."""
    run: dict[str, Callable[[FloatArray, dict[str, Any]], Any]] = {
        "gross_range": lambda x, p: gross_range(x, tuple(p["fail_span"]), tuple(p["suspect_span"])),
        "spike_average": lambda x, p: spike(x, p["suspect"], p["fail"]),
        "spike_differential": lambda x, p: spike(x, p["suspect"], p["fail"], "differential"),
        "rate_of_change": lambda x, p: rate_of_change(
            _steps(x.size, p["step_seconds"]), x, p["threshold_per_step"] / p["step_seconds"]
        ),
        "flat_line": lambda x, p: flat_line(
            _steps(x.size, p["step_seconds"]), x, p["suspect_seconds"], p["fail_seconds"], p["tolerance"]
        ),
    }
    vectors = _published()
    assert len(vectors) == 15
    for vector in vectors:
        found = run[vector["test"]](_array(vector["input"]), vector["params"]).tolist()
        assert found == vector["flags"], vector


def test_vectors_of_standards_section_2_hold_without_the_file() -> None:
    """The four vectors written out in the standards digest (same source)."""
    assert gross_range(_array([5, 10, 15, 20, 25, 30, 35, 40, 45, 51]), (10, 50), (20, 40)).tolist() == [
        4, 3, 3, 1, 1, 1, 1, 1, 3, 4,
    ]  # fmt: skip
    assert spike(_array([10, 12, 999.99, 13, 15, 40, 9, 9]), 25, 50).tolist() == [2, 4, 4, 4, 1, 3, 1, 2]
    rate = rate_of_change(_steps(8, 900), _array([2, 10, 2, 3, None, None, 7, 10]), 5 / 900)
    assert rate.tolist() == [1, 3, 3, 1, 9, 9, 1, 1]
    flat = [1, 2, 2.0001, 2, 2.0001, 2, 2.0001, 2, 4, 5, 3, 3.0001, 3.0005, 3.00001]
    found = flat_line(_steps(14, 900), np.array(flat), 3000, 4800, 0.01)
    assert found.tolist() == [1, 1, 1, 1, 3, 3, 4, 4, 1, 1, 1, 1, 1, 3]


@pytest.mark.parametrize("size", [0, 1, 2])
def test_short_columns_pass_through_every_test(size: int) -> None:
    values = np.full(size, 0.9)
    for column in VALUE_COLUMNS:
        assert flag_values(column, _steps(size, 60), values).tolist() == [0] * size


def test_limits_of_range_are_inclusive_and_every_column_has_a_row_with_its_source() -> None:
    assert [row.column for row in LIMITS if row.source] == [row.column for row in LIMITS]
    assert {row.column for row in LIMITS} == set(VALUE_COLUMNS)
    for row in LIMITS:
        edge = 1e-6
        alone = [row.lowest - edge, row.lowest, row.highest, row.highest + edge]
        out = [int(flag_values(row.column, np.zeros(1), np.array([v]))[0] & Flag.OUT_OF_RANGE) for v in alone]
        assert out == [1, 0, 0, 1], row.column


def test_a_lone_85_is_the_power_up_value_and_a_hot_bench_is_not() -> None:
    """DS18B20 datasheet: +85 °C is the power-on value; NEON measured real soil at 63 °C."""
    seen = np.array([21.0, 85.0, 21.5, 63.0, 82.0, 84.0, 85.0, 84.5, np.nan])
    assert power_up_values(seen).tolist() == [False, True, False, False, False, False, False, False, False]
    flags = flag_values("soil_temp_c", _steps(9, 600), seen)
    assert flags[1] == Flag.POWER_UP_VALUE
    assert flags[6] & Flag.OUT_OF_RANGE
    assert not flags[6] & Flag.POWER_UP_VALUE


def test_a_run_of_85_after_every_reset_is_caught_whole_and_so_is_one_with_no_company() -> None:
    assert power_up_values(np.array([85.0, 85.0, 20.0, 85.0, 85.0])).tolist() == [
        True,
        True,
        False,
        True,
        True,
    ]
    assert power_up_values(np.array([85.0])).tolist() == [True]
    assert power_up_values(np.array([84.99, 85.06])).tolist() == [False, False]


def test_minus_127_is_disconnected_and_makes_no_spike_of_its_neighbours() -> None:
    flags = flag_values("soil_temp_c", _steps(7, 60), np.array([20, 20.1, -127, 20.2, 20.3, -127, -127]))
    assert flags.tolist() == [0, 0, Flag.DISCONNECTED, 0, 0, Flag.DISCONNECTED, Flag.DISCONNECTED]


def test_a_lone_jump_that_comes_back_is_a_spike() -> None:
    flags = flag_values("moisture_m3_m3", _steps(5, 600), np.array([0.40, 0.40, 0.20, 0.40, 0.39]))
    assert flags.tolist() == [0, 0, Flag.SPIKE, 0, 0]


def test_the_wet_peak_just_after_a_watering_is_not_a_spike() -> None:
    """Surplus water drains within minutes, but what follows stays wetter than what went before."""
    flags = flag_values("moisture_m3_m3", _steps(5, 600), np.array([0.25, 0.25, 0.58, 0.46, 0.45]))
    assert flags.tolist() == [0] * 5


def test_a_jump_seen_once_in_many_hours_proves_no_spike() -> None:
    values = np.array([10.0, 18.0, 10.0])
    assert flag_values("soil_temp_c", _steps(3, 3 * HOUR_S), values).tolist() == [0, 0, 0]
    assert flag_values("soil_temp_c", _steps(3, 1 * HOUR_S), values).tolist() == [0, Flag.SPIKE, 0]


def test_sun_on_a_shallow_tray_is_a_fast_change_and_stays_in_use() -> None:
    flags = flag_values("soil_temp_c", _steps(4, 60), np.array([15.0, 15.4, 16.1, 16.8]))
    assert flags.tolist() == [0, 0, Flag.FAST_CHANGE, Flag.FAST_CHANGE]
    assert not flags[2] & LEFT_OUT


def test_volts_that_repeat_for_a_day_are_stuck_and_a_thawing_soil_stays_in_use() -> None:
    hours = _steps(30, HOUR_S)
    stuck = flag_values("moisture_v", hours, np.full(30, 1.734))
    assert counts(stuck) == {Flag.STUCK: 6}  # the first 24 h pass, as in QARTOD
    assert not stuck[-1] & LEFT_OUT
    alive = np.full(30, 1.734) + np.where(np.arange(30) % 2, 0.002, 0.0)
    assert counts(flag_values("moisture_v", hours, alive)) == {}


@pytest.mark.parametrize(("hours", "flagged"), [(3, 8), (3.1, 0), (12, 0), (24, 0)])
def test_readings_too_far_apart_to_tell_are_not_called_stuck(hours: float, flagged: int) -> None:
    """Air must rest for six hours: three readings three hours apart tell, two or one do not."""
    flags = flag_values("air_temp_c", _steps(10, hours * HOUR_S), np.full(10, 8.0))
    assert counts(flags) == ({Flag.STUCK: flagged} if flagged else {})


def test_humidity_above_100_is_flagged_and_kept() -> None:
    flags = flag_values("rh_pct", _steps(4, 60), np.array([99.0, 100.0, 104.5, 109.4]))
    assert flags.tolist() == [0, 0, Flag.HUMIDITY_ABOVE_100, Flag.HUMIDITY_ABOVE_100]
    assert not Flag.HUMIDITY_ABOVE_100 & LEFT_OUT


def test_a_clock_is_impossible_when_ahead_of_its_arrival_or_before_the_earliest_date() -> None:
    received = np.array([START_MS] * 5)
    measured = START_MS + np.array([-400 * 24 * HOUR_MS, -HOUR_MS, 0, 600_000, 600_001])
    heads = head_columns(measured, received_ms=received)
    assert clock_impossible(heads, START_MS - 24 * HOUR_MS).tolist() == [True, False, False, False, True]


def test_a_file_may_be_as_old_as_it_likes_but_not_from_the_future() -> None:
    heads = head_columns([0, START_MS + HOUR_MS], received_ms=[START_MS] * 2, boot=BOOT_IMPORTED)
    assert clock_impossible(heads, START_MS).tolist() == [False, True]


def test_a_reading_with_an_impossible_clock_is_flagged_only_where_it_measured_something() -> None:
    heads = head_columns(
        [1_000, START_MS, START_MS + 60_000], soil_temp_c=[85.0, 20, 20], rain_mm=[np.nan, 0, 0]
    )
    flags = flag_columns(heads, earliest_ms=START_MS)
    assert flags["soil_temp_c"].tolist() == [Flag.CLOCK_IMPOSSIBLE, 0, 0]
    assert flags["rain_mm"].tolist() == [0, 0, 0]


def test_mix_stays_frozen_until_enough_warmth_has_gathered() -> None:
    """At 1 °C twelve hours, at 6 °C two: the same twelve degree-hours."""
    for warm_c, hours in ((1.0, 12), (6.0, 2)):
        temp = np.concatenate([[3.0, -0.5, 0.0], np.full(20, warm_c)])
        state = frozen(_steps(temp.size, HOUR_S), temp)
        assert state.tolist() == [False, True, True] + [True] * (hours - 1) + [False] * (21 - hours)


def test_a_cold_reading_during_the_thaw_starts_it_again() -> None:
    temp = np.array([-1.0, 6.0, 0.0, 6.0, 6.0])
    assert frozen(_steps(5, HOUR_S), temp).tolist() == [True, True, True, True, False]


def test_a_reading_without_soil_temperature_keeps_the_state_and_a_gap_thaws_nothing() -> None:
    temp = np.array([np.nan, -1.0, np.nan, 5.0, 5.0, np.nan])
    hours = np.array([0.0, 1, 2, 3, 4, 5])
    assert frozen(hours * HOUR_S, temp).tolist() == [False, True, True, True, False, False]
    assert frozen(np.array([0, 24 * HOUR_S]), np.array([-1.0, 6.0])).tolist() == [True, True]


def test_frost_flags_moisture_only_and_a_broken_thermometer_freezes_nothing() -> None:
    times = START_MS + np.arange(4) * 600_000
    heads = head_columns(
        times, soil_temp_c=[3.0, -127, -1, -1], moisture_v=[1.5, 1.5, np.nan, 1.6], rh_pct=[50.0] * 4
    )
    flags = flag_columns(heads, earliest_ms=START_MS)
    assert flags["moisture_v"].tolist() == [0, 0, 0, Flag.FROZEN]
    assert flags["soil_temp_c"].tolist() == [0, Flag.DISCONNECTED, 0, 0]
    assert flags["rh_pct"].tolist() == [0] * 4


def test_every_flag_has_a_policy_with_a_reason_and_the_mask_follows_it() -> None:
    assert set(POLICY) == set(Flag)
    assert all(reason for _, reason in POLICY.values())
    left_out = {f for f in Flag if f & LEFT_OUT}
    assert left_out == set(Flag) - {Flag.STUCK, Flag.FAST_CHANGE, Flag.HUMIDITY_ABOVE_100}
    assert names(Flag.FROZEN | Flag.SPIKE) == ["spike", "frozen"]


@pytest.mark.data
def test_bondville_has_480_humidities_above_100_and_nothing_left_out_but_frost() -> None:
    """480 is the count its README states; one 4 cm soil value is a lone jump, and is the only one."""
    heads = bondville()
    flags = flag_columns(heads, earliest_ms=0)
    assert counts(flags["rh_pct"])[Flag.HUMIDITY_ABOVE_100] == 480
    assert not (flags["rh_pct"] & LEFT_OUT).any()
    assert not (flags["air_temp_c"] & LEFT_OUT).any()
    assert np.count_nonzero(flags["soil_temp_c"] & LEFT_OUT) <= 1


@pytest.mark.data
def test_bondville_moisture_is_frozen_all_through_13_to_21_january_and_never_in_summer() -> None:
    """README of the records: soil below 0 °C, moisture 0.37 → 0.16 and back on 21 January as it thaws."""
    heads = bondville()
    icy = flag_columns(heads, earliest_ms=0)["moisture_m3_m3"] & Flag.FROZEN > 0
    local = pd.Series(icy, pd.to_datetime(heads.time_ms - 6 * HOUR_MS, unit="ms"))
    assert local.loc["1998-01-13":"1998-01-21"].all()
    assert not local.loc["1998-05":"1998-10"].any()
    kept = heads.values["moisture_m3_m3"][~icy]
    assert np.nanmax(np.abs(np.diff(kept[: np.count_nonzero(local.loc[:"1998-02-28"].eq(False))]))) < 0.1


@pytest.mark.data
@pytest.mark.parametrize(
    "make", [ford_dry_lake, glasshouse_inside, *(lambda p=p: dry_season(p) for p in range(1, 6))]
)
def test_real_records_lose_nothing_to_the_range_spike_and_power_up_tests(
    make: Callable[[], HeadColumns],
) -> None:
    """Desert, glasshouse and soil at 63 °C: real weather is not a fault; frost may hide moisture in Ford."""
    heads = make()
    for name, flags in flag_columns(heads, earliest_ms=0).items():
        assert not (flags & (LEFT_OUT & ~Flag.FROZEN)).any(), name
