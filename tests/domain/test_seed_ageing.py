"""How seed ages: the viability equation, and what the published keeping times come to."""

import math

import numpy as np
import pytest
from scipy import stats

from traywarden.domain.seed_ageing import (
    FRESH,
    HALF_PER_KEPT,
    HALF_PER_KEPT_SPREAD,
    Ageing,
    ageing_of,
    earlier_share,
    label_strength,
)
from traywarden.domain.seed_facts import SeedFacts
from traywarden.store.seed_facts import label_tolerances, load_seed_facts


def test_the_ratio_of_half_life_to_years_kept_is_that_of_four_kinds_and_chives_held_against_onion() -> None:
    """Chives: half-life 5 years (Nagel & Börner 2010, abstract); years kept as onion, 1 (Iowa State 1999)."""
    both = [
        math.log(facts.half_life_years / facts.years_kept)
        for facts in load_seed_facts().values()
        if facts.half_life_years and facts.years_kept
    ] + [math.log(5 / 1)]
    assert len(both) == 5
    assert math.exp(np.mean(both)) == pytest.approx(HALF_PER_KEPT, abs=0.06)
    assert np.std(both, ddof=1) == pytest.approx(HALF_PER_KEPT_SPREAD, abs=0.01)


def test_fresh_seed_is_half_dead_after_its_half_life() -> None:
    ageing = Ageing(7.0, 0.5, "")
    middle = float(ageing.probit_years()[2])
    assert float(earlier_share(np.array(0.5), 7.0, middle)) == pytest.approx(FRESH)


def test_germination_falls_by_one_probit_in_its_years() -> None:
    """Ellis & Roberts: v = Ki − p/σ, in probits."""
    then = float(earlier_share(np.array(0.6), 3.0, 2.0))
    assert stats.norm.ppf(then) == pytest.approx(stats.norm.ppf(0.6) + 1.5)


def test_a_measured_half_life_goes_before_years_kept_and_these_before_nothing() -> None:
    facts = load_seed_facts()
    assert ageing_of(facts["lettuce"]).half_years == 7.0
    assert ageing_of(facts["tomato"]).half_years == pytest.approx(4 * HALF_PER_KEPT)
    assert ageing_of(facts["dill"]).half_years == ageing_of(None).half_years
    assert ageing_of(SeedFacts("x")).spread > ageing_of(facts["lettuce"]).spread


def test_the_likely_speeds_of_ageing_scatter_about_the_middle_one() -> None:
    years = Ageing(7.0, 0.5, "").probit_years()
    assert np.log(years).mean() == pytest.approx(np.log(years[2]))
    assert np.log(years).std() == pytest.approx(0.5, rel=0.15)


@pytest.mark.parametrize("share", [0.55, 0.8, 0.95, 0.3, 0.08])
def test_a_packets_figure_is_worth_what_two_tests_may_differ_by(share: float) -> None:
    """With so many seeds in each, two tests differ by more than the tolerance once in twenty."""
    seeds = round(label_strength(share, label_tolerances()))
    assert 140 < seeds < 240
    percent = round(100 * share)
    tolerance = next(
        row.tolerance_pct
        for row in label_tolerances()
        if row.lowest_pct <= max(percent, 101 - percent) <= row.highest_pct
    )
    drawn = np.random.default_rng(1).binomial(seeds, share, size=(2, 100_000)) / seeds
    assert (np.abs(drawn[0] - drawn[1]) > tolerance / 100).mean() == pytest.approx(0.05, abs=0.012)
