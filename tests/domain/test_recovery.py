"""What was put into the simulator comes out of the computation again: recovery, not realism.

`python -m tests.figures recovery` prints these for two gardens; one is enough here.
"""

import numpy as np
import pytest

from tests.figures import recovery

SEED = recovery.SEEDS[0]


def test_true_waterings_are_found_and_hardly_anything_else() -> None:
    found = recovery.waterings(SEED)
    assert found.true > 400
    assert found.recall >= 0.93
    assert found.precision >= 0.98
    assert np.quantile(np.abs(found.late_s), 0.9) <= 1200


def test_time_constants_are_those_that_the_true_water_gives() -> None:
    rows = np.array(recovery.time_constants(SEED))
    assert len(rows) > 300
    assert np.median(np.abs(rows[:, 0])) < 0.03
    assert (rows[:, 1] <= 2).mean() > 0.9


def test_container_capacity_is_found_within_its_interval() -> None:
    rows = recovery.capacities(SEED)
    off = np.array([error for error, _ in rows])
    assert len(rows) >= 0.9 * recovery.HEADS
    assert np.median(np.abs(off)) < 0.004
    assert np.abs(off).max() < 0.02
    assert np.mean([inside for _, inside in rows]) >= 0.9


def test_the_temperature_effect_has_the_right_sign_and_size() -> None:
    used = np.array([(true, found) for true, found, taken_out in recovery.coefficients(SEED) if taken_out])
    assert len(used) >= 0.3 * recovery.HEADS
    assert np.all(used[:, 0] * used[:, 1] > 0)
    assert np.median(np.abs(used[:, 0] - used[:, 1])) < 0.00005


@pytest.mark.parametrize("volts_per_week", [0.0, 0.02])
def test_drift_is_called_where_there_is_one_and_only_there(volts_per_week: float) -> None:
    rows = recovery.drift(SEED, volts_per_week)
    assert len(rows) >= 0.9 * recovery.HEADS
    large = [called for true, _, called in rows if abs(true) > 0.03]
    small = [called for true, _, called in rows if abs(true) < 0.01]
    assert all(large)
    assert bool(large) == (volts_per_week > 0)
    assert not any(small)
    assert np.median([abs(true - found) for true, found, _ in rows]) < 0.003


def test_a_mix_that_dries_half_as_fast_again_is_told_and_one_that_does_not_is_not() -> None:
    """Five gardens each: 95 % intervals, of which one may miss."""
    seeds = range(51, 56)
    fast = [recovery.mixes(seed) for seed in seeds]
    assert np.median([abs(f.ratio / recovery.TRUE_RATIO - 1) for f in fast]) < 0.1
    assert sum(f.low <= recovery.TRUE_RATIO <= f.high for f in fast) >= 4
    assert sum(f.told for f in fast) >= 4
    same = [recovery.mixes(seed, 1.0) for seed in seeds]
    assert sum(f.told for f in same) <= 1
