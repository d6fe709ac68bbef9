"""Every QARTOD test gives the codes that ioos_qc gives, the reference implementation of US IOOS.

General-purpose library as second opinion: codes are whole numbers, so they must be equal.
"""

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra import numpy as arrays
from ioos_qc import qartod as ioos

from traywarden.domain.qartod import (
    MISSING,
    NOT_EVALUATED,
    PASS,
    flat_line,
    gross_range,
    rate_of_change,
    rolled_up,
    spike,
)
from traywarden.domain.qartod_wide import attenuated_signal, climatology, neighbours
from traywarden.domain.series import FloatArray

SERIES = arrays.arrays(
    np.float64,
    st.integers(3, 40),
    elements=st.one_of(st.just(np.nan), st.integers(-40, 80).map(lambda n: n / 2)),
)
STEP_S = 600


def stamps(count: int) -> "np.ndarray[tuple[int], np.dtype[np.datetime64]]":
    return np.datetime64("2026-03-01") + np.arange(count) * np.timedelta64(STEP_S, "s")


def seconds(count: int) -> FloatArray:
    return np.arange(count, dtype=np.float64) * STEP_S


@given(SERIES)
def test_gross_range_is_that_of_ioos_qc(values: FloatArray) -> None:
    theirs = ioos.gross_range_test(values, (-10, 30), (-5, 25))
    assert gross_range(values, (-10, 30), (-5, 25)).tolist() == theirs.filled(9).tolist()


@given(SERIES, st.sampled_from(["average", "differential"]))
def test_spike_is_that_of_ioos_qc(values: FloatArray, form: str) -> None:
    theirs = ioos.spike_test(values, 3, 8, method=form)
    assert spike(values, 3, 8, form).tolist() == theirs.filled(9).tolist()


@given(SERIES)
def test_rate_of_change_is_that_of_ioos_qc(values: FloatArray) -> None:
    theirs = ioos.rate_of_change_test(values, stamps(values.size), 5 / STEP_S)
    assert rate_of_change(seconds(values.size), values, 5 / STEP_S).tolist() == theirs.filled(9).tolist()


@given(SERIES)
def test_climatology_is_that_of_ioos_qc(values: FloatArray) -> None:
    times = np.datetime64("2026-01-01") + (np.arange(values.size) * 9).astype("timedelta64[D]")
    config = [
        {"tspan": (1, 1), "vspan": (-5, 12), "fspan": (-12, 20), "period": "month"},
        {"tspan": (4, 4), "vspan": (0, 25), "period": "month"},
    ]
    theirs = ioos.climatology_test(config, values, times, np.full(values.shape, np.nan))
    month = pd.DatetimeIndex(times).month.to_numpy(np.int64)
    found = climatology(month, values, {1: (-5, 12), 4: (0, 25)}, {1: (-12, 20)})
    # ioos_qc 3.0 passes a missing value here, where its other tests and the flag scheme say “missing”.
    known = ~np.isnan(values)
    assert found[known].tolist() == theirs.filled(9)[known].tolist()
    assert (found[~known] == MISSING).all()


@given(SERIES, st.sampled_from([1, 2, 4]))
def test_attenuated_signal_is_that_of_ioos_qc(values: FloatArray, least: int) -> None:
    window_s = 4 * STEP_S
    theirs = ioos.attenuated_signal_test(
        values, stamps(values.size), 2.0, 0.5, test_period=window_s, min_obs=least
    )
    found = attenuated_signal(seconds(values.size), values, 2.0, 0.5, window_s, least)
    assert found.tolist() == np.ma.filled(theirs, 9).tolist()


@given(SERIES)
def test_flat_line_is_that_of_ioos_qc(values: FloatArray) -> None:
    steps = np.where(np.isnan(values), 0.0, np.round(values / 20))  # so that flat stretches come up
    theirs = ioos.flat_line_test(steps, stamps(values.size), 3 * STEP_S, 6 * STEP_S, 0.1)
    found = flat_line(seconds(values.size), steps, 3 * STEP_S, 6 * STEP_S, 0.1)
    assert found.tolist() == np.ma.filled(theirs, 9).tolist()


@pytest.mark.parametrize("tests", [1, 2, 3])
def test_the_roll_up_is_that_of_ioos_qc(tests: int) -> None:
    codes = np.array([1, 2, 3, 4, 9])
    table = np.stack([grid.ravel() for grid in np.meshgrid(*[codes] * tests)])
    theirs = ioos.qartod_compare([np.ma.array(row) for row in table])
    assert rolled_up(list(table)).tolist() == np.ma.filled(theirs, 9).tolist()


def test_one_bad_neighbour_among_three_accuses_nobody() -> None:
    mine = np.array([10.0, 11.0, np.nan, 12.0])
    others = np.array([[10.2, np.nan, 10, 11], [9.9, np.nan, 10, 13], [60.0, np.nan, 10, -127]])
    assert neighbours(mine, others, 3, 5).tolist() == [PASS, NOT_EVALUATED, 9, PASS]
