"""Cells filled: against scipy's beta-binomial, enumeration and drawing."""

from itertools import product

import numpy as np
import pytest
from scipy import stats

from traywarden.domain.cell_fill import (
    CLUSTERING,
    MEAN_CLUSTERING,
    FilledTray,
    _log_chance,
    cell_counts,
    clustering_chances,
    empty_chance,
)


@pytest.mark.parametrize(("p", "n", "rho"), [(0.8, 3, 0.1), (0.3, 5, 0.4), (0.95, 2, 0.01)])
def test_a_cells_seedlings_are_beta_binomial(p: float, n: int, rho: float) -> None:
    scale = (1 - rho) / rho
    exact = stats.betabinom(n, p * scale, (1 - p) * scale).pmf(range(n + 1))
    assert cell_counts(p, n, rho) == pytest.approx(exact)
    assert float(empty_chance(np.array(p), n, np.array(rho))) == pytest.approx(exact[0])


@pytest.mark.parametrize(("germination", "empty"), [(0.75, (25, 6.25, 1.5625)), (0.55, (45, 20.25, 9.11))])
def test_empty_cells_of_the_oversowing_table(germination: float, empty: tuple[float, ...]) -> None:
    """heat_and_frost.md, “Oversowing”: computed there for 1, 2 and 3 seeds, no clustering."""
    for n, percent in enumerate(empty, start=1):
        found = 100 * float(empty_chance(np.array(germination), n, np.array(0.0)))
        assert found == pytest.approx(percent, abs=0.005)


@pytest.mark.parametrize(("germination", "seeds"), [(0.9, 2), (0.75, 3), (0.55, 4)])
def test_seeds_for_at_most_5_empty_cells_in_100(germination: float, seeds: int) -> None:
    """heat_and_frost.md: n = ceil(ln 0.05 / ln(1 − g))."""
    few, enough = (float(empty_chance(np.array(germination), n, np.array(0.0))) for n in (seeds - 1, seeds))
    assert few > 0.05 >= enough


def test_the_chance_of_filled_cells_given_the_seedlings_is_exact_by_enumeration() -> None:
    """Five cells of two seeds, seven seedlings: every way they can stand."""
    for rho in (0.0, 0.2):
        one = cell_counts(0.7, 2, rho)
        ways = [c for c in product(range(3), repeat=5) if sum(c) == 7]
        whole = sum(np.prod(one[list(c)]) for c in ways)
        for filled in (4, 5):
            part = sum(np.prod(one[list(c)]) for c in ways if sum(k > 0 for k in c) == filled)
            assert np.exp(_log_chance(FilledTray(5, 2, 7, filled), rho)) == pytest.approx(part / whole)


@pytest.mark.parametrize("rho", [0.0, 0.1, 0.3])
def test_clustering_is_found_again_from_a_dozen_trays(rho: float) -> None:
    """On average over twenty gardens; drawn a little towards what is thought beforehand."""
    found = []
    for seed in range(20):
        rng, trays = np.random.default_rng(seed), []
        for _ in range(12):
            shares = rng.beta(0.7 * (1 - rho) / rho, 0.3 * (1 - rho) / rho, 72) if rho else np.full(72, 0.7)
            counts = rng.binomial(3, shares)
            trays.append(FilledTray(72, 3, int(counts.sum()), int((counts > 0).sum())))
        found.append(float(clustering_chances(trays) @ CLUSTERING))
    assert np.mean(found) == pytest.approx(rho, abs=0.03)
    assert np.std(found) < 0.06


def test_without_counts_or_with_single_seeds_it_stays_what_is_thought_beforehand() -> None:
    nothing = clustering_chances([])
    single = clustering_chances([FilledTray(72, 1, 50, 50)])
    assert single == pytest.approx(nothing)
    assert float(nothing @ CLUSTERING) == pytest.approx(MEAN_CLUSTERING, rel=0.1)


def test_a_second_seed_helps_less_where_seeds_share_a_cells_luck() -> None:
    alone, together = empty_chance(np.array(0.7), 2, np.array([0.0, 0.3]))
    assert together > alone
