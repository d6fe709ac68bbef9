"""What a lot germinates: against the closed form where there is one, and against plain drawing."""

import numpy as np
import pytest
from scipy import stats

from traywarden.domain.lot_germination import (
    GRID,
    LOOSE_SEEDS,
    TRUSTED,
    AtLeast,
    OnPacket,
    OwnTest,
    interval_of,
    lot_germination,
)
from traywarden.domain.seed_ageing import Ageing

AGEING = Ageing(7.0, 0.5, "")


def test_tests_alone_are_the_beta_binomial_update() -> None:
    found = lot_germination([OwnTest(17, 20), OwnTest(40, 50)], AGEING)
    exact = stats.beta(1 + 57, 1 + 13)
    assert found.mean_share() == pytest.approx(exact.mean(), abs=1e-4)
    assert found.interval(0.8) == pytest.approx(exact.ppf([0.1, 0.9]), abs=2e-3)


def test_a_packet_and_a_test_are_the_mixture_of_two_such_updates() -> None:
    """Firm or loose packet, each a Beta; their weights by the beta-binomial chance of the test."""
    found = lot_germination([OnPacket(0.9, 200.0), OwnTest(10, 20)], AGEING)
    parts = []
    for weight, n in ((TRUSTED, 200.0), (1 - TRUSTED, LOOSE_SEEDS)):
        a, b = 0.9 * n, 0.1 * n
        parts.append((weight * stats.betabinom(20, a, b).pmf(10), stats.beta(a + 10, b + 10).mean()))
    mean = sum(w * m for w, m in parts) / sum(w for w, _ in parts)
    assert found.mean_share() == pytest.approx(mean, abs=1e-3)


def test_a_packet_keeps_its_mean_however_far_it_is_trusted() -> None:
    assert lot_germination([OnPacket(0.85, 200.0)], AGEING).mean_share() == pytest.approx(0.85, abs=2e-3)


def test_the_laws_minimum_is_the_lower_end_of_what_is_likely() -> None:
    found = lot_germination([AtLeast(0.75, 0.04)], AGEING)
    below = found.chances.sum(axis=0)[GRID < 0.70].sum()
    assert below == pytest.approx(0.2 * 0.70 + 0.8 * 0.004, abs=0.01)
    assert found.mean_share() == pytest.approx(0.8 * 0.875 + 0.2 * 0.5, abs=0.01)


def test_old_seed_is_thought_less_of_and_less_surely() -> None:
    fresh, old = (lot_germination([OnPacket(0.9, 200.0, years)], AGEING) for years in (0.0, 4.0))
    assert old.mean_share() < fresh.mean_share() - 0.1
    fresh_width, old_width = (np.diff(x.interval(0.8))[0] for x in (fresh, old))
    assert old_width > 1.5 * fresh_width


def test_an_old_packet_and_a_test_of_today_by_drawing() -> None:
    """Draw lot, speed of ageing and test; keep the draws whose test came out as it did."""
    rng = np.random.default_rng(5)
    n = 400_000
    speed = rng.choice(AGEING.probit_years(), n)
    firm = rng.random(n) < TRUSTED
    worth = np.where(firm, 200.0, LOOSE_SEEDS)
    then = rng.beta(0.9 * worth, 0.1 * worth)
    now = stats.norm.cdf(stats.norm.ppf(np.clip(then, 1e-9, 1 - 1e-9)) - 3.0 / speed)
    kept = rng.binomial(20, now) == 14
    found = lot_germination([OnPacket(0.9, 200.0, 3.0), OwnTest(14, 20)], AGEING)
    assert found.mean_share() == pytest.approx(now[kept].mean(), abs=0.004)
    assert found.interval(0.8) == pytest.approx(np.quantile(now[kept], [0.1, 0.9]), abs=0.008)
    spread = [(speed[kept] == s).mean() for s in AGEING.probit_years()]
    assert found.chances.sum(axis=1) == pytest.approx(spread, abs=0.01)


def test_a_test_of_which_half_counts_tells_half_as_much() -> None:
    whole = lot_germination([OwnTest(10, 12)], AGEING)
    half = lot_germination([OwnTest(20, 24, weight=0.5)], AGEING)
    assert half.mean_share() == pytest.approx(whole.mean_share())


def test_an_interval_between_neighbours_is_straight() -> None:
    assert interval_of(np.array([0.0, 1.0]), np.array([0.5, 0.5]), 0.0) == (0.5, 0.5)
