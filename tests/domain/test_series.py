"""What computation may use of a head's readings."""

import doctest

import numpy as np

import traywarden.domain.flags
import traywarden.domain.frost
import traywarden.domain.moisture
import traywarden.domain.qartod
from traywarden.domain.flags import Flag
from traywarden.domain.series import SERIES_COLUMNS, HeadSeries, together


def _series() -> HeadSeries:
    blank = np.full(4, np.nan)
    flags = {name: np.zeros(4, np.int64) for name in SERIES_COLUMNS}
    flags["rh_pct"][2] = Flag.HUMIDITY_ABOVE_100
    flags["soil_temp_c"][1] = Flag.POWER_UP_VALUE
    return HeadSeries(
        "bench/1",
        np.array([0.0, 60, 120, 180]),
        np.array([20.0, 85, np.nan, 21]),
        blank,
        False,
        blank,
        np.array([50.0, 60, 104, 99]),
        blank,
        blank,
        flags,
    )


def test_missing_and_left_out_readings_are_dropped_and_humidity_is_capped() -> None:
    time_s, soil_c = _series().used("soil_temp_c")
    assert (time_s.tolist(), soil_c.tolist()) == ([0, 180], [20, 21])
    assert _series().used("rh_pct")[1].tolist() == [50, 60, 100, 99]
    np.testing.assert_array_equal(_series().clean("soil_temp_c"), [20, np.nan, np.nan, 21])
    assert _series().values("rh_pct").max() == 104  # kept as it was
    assert _series().used("moisture_m3_m3")[0].size == 0


def test_a_part_includes_its_start_and_excludes_its_end() -> None:
    part = _series().between(60, 180)
    assert part.time_s.tolist() == [60, 120]
    assert part.flags["soil_temp_c"].tolist() == [Flag.POWER_UP_VALUE, 0]


def _soil(time_s: list[float], soil_c: list[float]) -> HeadSeries:
    n = len(time_s)
    blank = np.full(n, np.nan)
    flags = {name: np.zeros(n, np.int64) for name in SERIES_COLUMNS}
    return HeadSeries(
        "x/1", np.array(time_s), np.array(soil_c), blank, True, blank, blank, blank, blank, flags
    )


def test_two_heads_count_alike_however_often_each_measures() -> None:
    often = _soil([0.0, 300, 600, 900, 1200, 1500], [10.0, 12, 10, 12, 10, 12])
    seldom = _soil([10.0, 610, 1210], [21.0, 21, 21])
    time_s, soil_c = together([often, seldom], "soil_temp_c")
    assert time_s.tolist() == [80, 680, 1280]
    assert soil_c.tolist() == [16, 16, 16]


def test_heads_that_follow_each_other_make_one_series_and_one_head_stays_as_it_is() -> None:
    one, two = _soil([0.0, 600], [10.0, 11]), _soil([1200.0, 1800], [12.0, np.nan])
    assert together([one], "soil_temp_c")[0] is not None
    assert together([one, two], "soil_temp_c")[1].tolist() == [10, 11, 12]
    assert together([two], "soil_temp_c")[0].tolist() == [1200]
    assert together([], "soil_temp_c")[0].size == 0


def test_the_examples_in_the_docstrings_run() -> None:
    domain = traywarden.domain
    for module in (domain.flags, domain.frost, domain.moisture, domain.qartod):
        ran = doctest.testmod(module, extraglobs={"np": np})
        assert ran.attempted
        assert ran.failed == 0
