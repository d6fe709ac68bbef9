"""Learning a crop's factor: against the closed form where likelihoods are normal, and scipy's integration."""

import numpy as np
import pytest
from scipy import integrate, stats

from tests.figures import sown_again
from traywarden.domain.factors import (
    LOT_LOG_SD,
    SOWING_LOG_SD,
    Told,
    before,
    expected,
    learn,
)
from traywarden.domain.looks import LOG_FACTORS
from traywarden.domain.series import FloatArray

PRIOR = 0.145


def normal(at: float, sd: float) -> FloatArray:
    return np.asarray(-0.5 * ((LOG_FACTORS - at) / sd) ** 2)


def test_one_sowing_is_the_normal_normal_update_in_closed_form() -> None:
    """Mean and variance by precision weighting (Gelman et al., Bayesian Data Analysis, equation 2.11)."""
    seen_at, seen_sd = 0.25, 0.06
    found = learn(PRIOR, [Told(1, None, normal(seen_at, seen_sd))])
    variance = seen_sd**2 + SOWING_LOG_SD**2 + LOT_LOG_SD**2
    precision = 1 / PRIOR**2 + 1 / variance
    assert found.crop.mean_log == pytest.approx(seen_at / variance / precision, abs=1e-4)
    assert found.crop.log_sd == pytest.approx(precision**-0.5, rel=0.005)


def test_three_sowings_of_two_lots_are_the_multivariate_normal_in_closed_form() -> None:
    """Joint normal of crop, lots and sowings, conditioned on what was seen by matrix algebra."""
    seen = [(1, 10, 0.20, 0.05), (2, 10, 0.35, 0.08), (3, 11, -0.05, 0.06)]
    found = learn(PRIOR, [Told(n, lot, normal(at, sd)) for n, lot, at, sd in seen])
    crop, lot, own = PRIOR**2, LOT_LOG_SD**2, SOWING_LOG_SD**2
    lots = np.array([n for _, n, _, _ in seen])
    same = lots[:, None] == lots[None, :]
    data = crop + lot * same + np.diag([own + sd**2 for _, _, _, sd in seen])
    values = np.array([at for _, _, at, _ in seen])
    weights = np.linalg.solve(data, np.full(3, crop))
    assert found.crop.mean_log == pytest.approx(float(weights @ values), abs=1e-3)
    assert found.crop.log_sd == pytest.approx(np.sqrt(crop - weights @ np.full(3, crop)), rel=0.01)
    toward = np.linalg.solve(data, crop + lot * (lots == 10))
    assert found.lots[10].mean_log == pytest.approx(float(toward @ values), abs=1e-3)


def test_a_likelihood_that_is_not_normal_is_averaged_as_scipy_integrates_it() -> None:
    """A sowing that only says “slower than 0.1” (a step): posterior mean by numerical integration."""
    step = np.where(LOG_FACTORS > 0.1, 0.0, -700.0)
    found = learn(PRIOR, [Told(1, None, step)])
    wide = np.hypot(LOT_LOG_SD, SOWING_LOG_SD)

    def weight(c: float) -> float:
        return float(stats.norm.pdf(c, 0, PRIOR) * stats.norm.sf(0.1, c, wide))

    total = integrate.quad(weight, -1.5, 1.5)[0]
    mean = integrate.quad(lambda c: c * weight(c), -1.5, 1.5)[0] / total
    assert found.crop.mean_log == pytest.approx(mean, abs=0.003)


def test_taking_a_sowing_away_takes_back_exactly_what_it_taught() -> None:
    one, two = Told(1, 5, normal(0.3, 0.05)), Told(2, 5, normal(-0.1, 0.05))
    both, alone = learn(PRIOR, [one, two]), learn(PRIOR, [two])
    assert not np.allclose(both.crop.weights, alone.crop.weights)
    np.testing.assert_array_equal(learn(PRIOR, [two]).crop.weights, alone.crop.weights)
    np.testing.assert_allclose(learn(PRIOR, []).crop.weights, before(PRIOR).weights)


def test_a_sowing_expects_what_the_others_taught_and_nothing_of_its_own() -> None:
    one, two = Told(1, 5, normal(0.3, 0.05)), Told(2, 5, normal(-0.1, 0.05))
    both = learn(PRIOR, [one, two])
    alone = learn(PRIOR, [two])
    np.testing.assert_allclose(
        expected(both, 1, 5).weights, expected(alone, 99, 5).weights, rtol=1e-6, atol=1e-12
    )


def test_a_new_lot_is_surer_than_the_table_alone_but_less_sure_than_a_known_one() -> None:
    found = learn(PRIOR, [Told(n, 5, normal(0.2, 0.05)) for n in range(4)])
    known, new = expected(found, 99, 5), expected(found, 99, 6)
    assert known.log_sd < new.log_sd
    assert known.mean_log > new.mean_log > 0.05


def test_many_sowings_recover_the_true_factor() -> None:
    """Simulation from the model's own assumptions: it proves recovery, not realism."""
    rng = np.random.default_rng(7)
    held = 0
    for _ in range(200):
        truth = rng.normal(0, PRIOR)
        told = []
        for lot in range(3):
            of_lot = truth + rng.normal(0, LOT_LOG_SD)
            for n in range(3):
                at = of_lot + rng.normal(0, SOWING_LOG_SD) + rng.normal(0, 0.05)
                told.append(Told(10 * lot + n, lot, normal(at, 0.05)))
        low, _, high = learn(PRIOR, told).crop.quantiles()
        held += low <= np.exp(truth) <= high
    assert 0.73 <= held / 200 <= 0.87


def test_the_second_sowing_is_foretold_better_than_the_first_and_of_the_same_lot_best() -> None:
    """Simulation again. `python -m tests.figures emergence` prints all of it."""
    table, same, other, _, four = sown_again.sown_again()
    assert same.miss < 0.7 * table.miss
    assert same.miss < other.miss < table.miss
    assert four.miss < same.miss
    for each in (table, same, other, four):
        assert 0.73 <= each.held <= 0.87


def test_a_crop_twice_as_slow_as_its_table_takes_several_sowings_until_the_band_is_right() -> None:
    """The table is believed to lie within some fifteen percent: one sowing moves the crop by a part only."""
    table, same, other, _, four = sown_again.sown_again("cucumber", sown_again.CUCUMBER)
    assert table.held < 0.1
    assert same.miss < 0.25 * table.miss
    assert other.miss < 0.6 * table.miss
    assert other.held < same.held < 0.7 < four.held
