"""Rankings on made-up days: what is told, what is not, and how often chance is taken for a lead."""

import numpy as np
import pytest

from tests.figures import places as figures
from tests.figures.places import alike
from traywarden.domain.ranking import LEAST_DAYS, rank_places


def test_the_sentence_of_a_garden_frame_first_and_bench_and_shade_not_told_apart() -> None:
    rng = np.random.default_rng(2)
    weather = 2 * alike(rng, 28, 0.4)
    frame, bench, shade = (base + weather + 0.8 * alike(rng, 28, 0.2) for base in (9.1, 5.2, 5.1))
    found = rank_places(["bench", "frame", "shade"], [bench, frame, shade])
    assert (found.ranked[0].name, found.ranked[0].rank) == ("frame", 1)
    assert {place.rank for place in found.ranked[1:]} == {2}
    verdicts = {frozenset((pair.better, pair.worse)): pair.verdict for pair in found.pairs}
    assert verdicts[frozenset(("frame", "bench"))] == verdicts[frozenset(("frame", "shade"))] == "better"
    assert verdicts[frozenset(("bench", "shade"))] in ("cannot tell", "same")


@pytest.mark.parametrize(("days", "likeness", "most"), [(7, 0.0, 0.08), (7, 0.5, 0.18), (14, 0.5, 0.16),
                                                       (28, 0.0, 0.06), (28, 0.5, 0.12)])  # fmt: skip
def test_three_places_that_are_alike_are_seldom_ranked(days: int, likeness: float, most: float) -> None:
    """Meant to be 5 %. Days as alike as 0.5 make it up to 15 %, and docs/places.md says so."""
    assert figures.wrongly_ranked(days, likeness) <= most


def test_the_weather_that_all_share_does_not_hide_a_steady_lead() -> None:
    """Days differ by many hours, places by one hour each day."""
    rng = np.random.default_rng(3)
    weather = 5 * alike(rng, 20, 0.6)
    lead = 1.0 + 0.2 * alike(rng, 20, 0.0)
    found = rank_places(["bench", "frame"], [10 + weather, 10 + weather + lead])
    assert found.pairs[0].verdict == "better"
    alone = found.ranked[0].hours_h
    assert alone.low is not None
    assert alone.low < 10 + weather.mean() < (alone.high or 0.0)


def test_a_place_is_not_ranked_by_better_weather() -> None:
    """The shade was measured only on the ten warm days of twenty; on those it was as the bench."""
    warm = np.arange(20) >= 10
    bench = np.where(warm, 12.0, 2.0) + np.arange(20) % 3 * 0.1
    shade = np.where(warm, bench, np.nan)
    found = rank_places(["bench", "shade"], [bench, shade])
    assert found.days == 10
    assert found.pairs[0].verdict == "same"
    assert found.ranked[0].hours_h.estimate == pytest.approx(found.ranked[1].hours_h.estimate)


def test_places_with_too_few_days_are_left_out_with_the_reason() -> None:
    days = np.arange(10.0)
    few = np.where(np.arange(10) < LEAST_DAYS - 1, days, np.nan)
    found = rank_places(["bench", "frame", "shade", "roof"], [days, days + 5, few, days * np.nan])
    assert [place.name for place in found.ranked] == ["frame", "bench"]
    assert found.left_out == (("shade", "4 of the 5 whole days it takes"), ("roof", "not measured"))


def test_of_places_never_measured_together_the_one_with_fewest_days_goes() -> None:
    days = np.arange(20)
    early, late = np.where(days < 12, 5.0, np.nan), np.where(days >= 13, 9.0, np.nan)
    found = rank_places(["bench", "frame"], [early, late])
    assert [place.name for place in found.ranked] == ["bench"]
    assert found.left_out == (("frame", "hardly measured on the same days as the others"),)
    assert found.reason == "it takes two places measured on the same days to rank them"
    assert rank_places([], []).ranked == ()


def test_places_in_range_all_day_are_the_same() -> None:
    found = rank_places(["a", "b"], [np.full(9, 24.0), np.full(9, 24.0)])
    assert found.pairs[0].verdict == "same"
    assert [place.rank for place in found.ranked] == [1, 1]


def test_a_place_surely_worse_than_the_first_does_not_share_its_rank_through_one_between() -> None:
    """First and last lie two steady hours apart; the one between scatters too much to be told from either."""
    steady = np.tile([0.0, 0.1, 0.2], 4)
    first, last = 12.0 + steady, 10.0 + steady
    between = 11.0 + 8.0 * np.array([1, -1, -1, 1, 1, -1, 1, -1, -1, 1, -1, 1])
    found = rank_places(["first", "between", "last"], [first, between, last])
    verdicts = {(pair.better, pair.worse): pair.verdict for pair in found.pairs}
    assert verdicts["first", "between"] == verdicts["between", "last"] == "cannot tell"
    assert verdicts["first", "last"] == "better"
    assert {place.name: place.rank for place in found.ranked} == {"first": 1, "between": 1, "last": 2}


def test_hours_of_a_day_stay_between_0_and_24_and_leads_within_a_day() -> None:
    """A warm spell after a cold one: days so alike that a t-interval alone would leave the day."""
    bench = np.array([24.0, 23.5, 24.0, 23.0, 3.0, 2.0, 0.5, 0.0])
    found = rank_places(["bench", "frame"], [bench, np.where(bench > 12, 24.0, 0.0)])
    for place in found.ranked:
        assert (place.hours_h.low, place.hours_h.high) == (0.0, 24.0)
    lead = rank_places(["warm", "cold"], [np.array([24.0, 24, 24, 0, 0, 0]), np.zeros(6)]).pairs[0].lead_h
    assert lead.low is not None
    assert lead.high is not None
    assert -24 <= lead.low < lead.high <= 24
