"""Counts in the journal become seedlings that came up between two visits."""

import math
from typing import Any

import numpy as np
import pytest
from scipy import stats

from traywarden.domain.batches import DAY_MS, MOST_IN_STEP, Batch, NewlyUp, Reached, batch_of
from traywarden.domain.journal import Entry, Facts, Kind
from traywarden.domain.sown_spans import sown_spans

SOWN_MS = 1_000 * DAY_MS


def entry(number: int, day: float, kind: Kind = Kind.EMERGED, **data: Any) -> Entry:
    return Entry(number, round(SOWN_MS + day * DAY_MS), 0, kind, tray_id=1, data=data)


SOWING = entry(1, 0, Kind.SOWED, crop="tomato", cells=20, seeds_per_cell=2)


def batch(*entries: Entry, sown: int | None = 40, until_d: float = 60.0) -> Batch:
    span, *_ = sown_spans(Facts([SOWING, *entries]), 1, round(SOWN_MS + until_d * DAY_MS))
    return batch_of(span, sown)


def days(counts: tuple[NewlyUp, ...]) -> list[tuple[float, float, int]]:
    return [((c.from_ms - SOWN_MS) / DAY_MS, (c.to_ms - SOWN_MS) / DAY_MS, c.newly_up) for c in counts]


def test_each_count_of_all_up_so_far_brings_what_is_new_since_the_last() -> None:
    found = batch(entry(2, 5, count=0), entry(3, 7, count=12), entry(4, 10, count=30), entry(5, 14, count=30))
    assert days(found.counts) == [(0, 5, 0), (5, 7, 12), (7, 10, 18), (10, 14, 0)]
    assert (found.up, found.watched_d, found.still_rising) == (30, 14, False)
    assert found.seen_ms == SOWN_MS + 7 * DAY_MS


def test_a_lower_count_brings_nothing_new_and_is_told() -> None:
    found = batch(entry(2, 7, count=31), entry(3, 9, count=28), entry(4, 12, count=33))
    assert days(found.counts) == [(0, 7, 31), (7, 9, 0), (9, 12, 2)]
    assert found.fell == ((SOWN_MS + 9 * DAY_MS, 28, 31),)
    assert found.still_rising


def test_a_sighting_without_a_count_dates_the_first_but_is_no_count() -> None:
    found = batch(entry(2, 6), entry(3, 9, count=20))
    assert found.seen_ms == SOWN_MS + 6 * DAY_MS
    assert days(found.counts) == [(0, 9, 20)]


def test_the_latest_of_two_counts_at_one_instant_holds() -> None:
    assert days(batch(entry(2, 6, count=3), entry(3, 6, count=5)).counts) == [(0, 6, 5)]


def test_what_is_sown_or_planted_out_later_ends_the_batch() -> None:
    anew = entry(4, 30, Kind.SOWED, crop="tomato")
    found = batch(entry(2, 8, count=10), entry(3, 10, count=20), anew, entry(5, 40, count=9))
    assert (found.up, found.ended_ms, found.still_rising) == (20, anew.at_ms, False)
    out = batch(entry(2, 8, count=10), entry(3, 20, Kind.PLANTED_OUT, count=9), until_d=15)
    assert out.ended_ms is None  # not yet, as of day 15


def test_an_undone_or_corrected_count_is_as_if_it_had_been_written_so() -> None:
    wrong = entry(2, 8, count=39)
    right = Entry(3, wrong.at_ms, 0, Kind.EMERGED, tray_id=1, data={"count": 19}, replaces=2)
    assert batch(wrong, right).up == 19


def test_counts_after_the_instant_asked_about_are_not_known_yet() -> None:
    assert batch(entry(2, 8, count=10), entry(3, 20, count=30), until_d=12).up == 10


def test_more_than_were_sown_cannot_be_a_share_of_them() -> None:
    found = batch(entry(2, 8, count=41))
    assert (found.sown, found.more_than_sown) == (None, True)


def test_the_newest_count_of_filled_cells_is_kept_with_its_seedlings() -> None:
    found = batch(
        entry(2, 8, count=10, filled_cells=9), entry(3, 9, count=30, filled_cells=17), entry(4, 11, count=31)
    )
    assert found.filled == (17, 30)


def test_a_batch_is_complete_once_a_count_brings_hardly_any_or_late() -> None:
    assert not batch(entry(2, 8, count=20)).complete
    assert batch(entry(2, 8, count=20), entry(3, 11, count=21)).complete
    assert not batch(entry(2, 8, count=0)).complete
    assert batch(entry(2, 22, count=0)).complete
    assert not batch().complete


def test_spans_and_steps_are_in_days_since_sowing() -> None:
    found = batch(entry(2, 5, count=0), entry(3, 7, count=12), entry(4, 10, count=30))
    spans = found.between()
    assert (spans.from_d.tolist(), spans.to_d.tolist(), spans.count.tolist()) == ([5, 7], [7, 10], [12, 18])
    metrics = found.metrics()
    assert metrics is not None
    assert metrics.germination_pct == 75
    assert metrics.t50_farooq_d == pytest.approx(7.5)
    assert found.within(8.0).up == 12
    assert batch().metrics() is None
    assert math.isclose(found.days(SOWN_MS + DAY_MS // 2), 0.5)


def test_a_count_left_out_of_learning_keeps_its_batch_out() -> None:
    assert batch(entry(2, 8, count=20), entry(3, 11, count=20)).teaches
    assert not batch(entry(2, 8, count=20), entry(3, 11, count=20, learn=False)).teaches


def test_two_counts_of_one_day_show_no_end() -> None:
    assert not batch(entry(2, 8, count=20), entry(3, 8.3, count=20)).complete
    assert batch(entry(2, 8, count=20), entry(3, 9, count=20)).complete


def test_one_of_many_up_on_two_days_is_not_the_end() -> None:
    """It came alone, so that the others may be on their way; weeks of quiet say that they are not."""
    alone = [entry(2, 7, count=1), entry(3, 8, count=1)]
    assert batch(*alone, sown=80).still_rising
    assert batch(*alone, entry(4, 10, count=1), sown=80).still_rising
    assert not batch(*alone, *(entry(k, k, count=1) for k in range(10, 21)), sown=80).still_rising


def test_a_quiet_day_in_the_middle_is_not_the_end_and_all_up_is() -> None:
    middle = [entry(2, 6, count=2), entry(3, 7, count=6), entry(4, 8, count=6)]
    assert batch(*middle, sown=80).still_rising
    assert batch(*middle, entry(5, 12, count=6), sown=80).complete
    assert batch(entry(2, 6, count=10), entry(3, 7, count=40), sown=40).complete


def test_late_seedlings_after_three_weeks_are_not_the_end() -> None:
    assert batch(entry(2, 15, count=1), entry(3, 19, count=6), entry(4, 22, count=14)).still_rising
    assert batch(entry(2, 22, count=30)).complete  # nobody looked before


def test_none_up_early_is_not_yet_the_end() -> None:
    assert batch(entry(2, 4, count=0)).still_rising
    assert not batch(entry(2, 4, count=0), entry(3, 24, count=0)).still_rising


def test_what_is_left_after_potting_up_is_no_count_of_what_came() -> None:
    potted = entry(4, 12, Kind.POTTED_UP, count=25)
    found = batch(entry(2, 8, count=10), entry(3, 11, count=30), potted, entry(5, 14, count=5))
    assert (found.up, found.fell, found.still_rising, found.ended_ms) == (30, (), False, potted.at_ms)
    more = batch(entry(2, 8, count=10), potted, entry(5, 14, count=36))
    assert (more.up, more.still_rising, more.ended_ms) == (36, True, None)


def test_what_was_up_at_any_age_lies_within_what_is_known_of_it() -> None:
    """Seedlings and visits drawn, the truth at any age known."""
    rng = np.random.default_rng(3)
    for _ in range(200):
        up_d = np.sort(rng.uniform(3, 20, rng.integers(0, 40)))
        visits_d = np.sort(rng.uniform(1, 22, rng.integers(1, 6)))
        found = batch(*(entry(k + 2, day, count=int((up_d <= day).sum())) for k, day in enumerate(visits_d)))
        for age_d in rng.uniform(0, 25, 10):
            known = found.up_at(age_d, 0.0)
            assert known.most is not None
            assert known.fewest <= (up_d <= age_d).sum() <= known.most
    assert batch(entry(2, 9, count=5), sown=None).up_at(12.0, 1.0).most is None


def test_a_straight_line_is_within_a_quarter_of_a_step_that_does_not_hold_most() -> None:
    """Times to come up normal, any step about their middle."""
    start = np.concatenate([np.linspace(-4, 0, 150), [-8.0, -100.0]])[:, None]
    end = np.concatenate([np.linspace(0.01, 4, 150), [8.0, 100.0]])[None, :]
    before, held = stats.norm.cdf(start), stats.norm.cdf(end) - stats.norm.cdf(start)
    off = np.abs((0.5 - before) / held + start / (end - start))
    assert off[held <= MOST_IN_STEP].max() < 0.25
    assert off[held <= 0.9].max() > 0.4


def test_when_half_was_up_is_said_only_as_far_as_the_visits_bear_it() -> None:
    daily = batch(*(entry(k + 2, 5 + k, count=up) for k, up in enumerate((0, 4, 16, 30, 31))))
    middle = daily.reached(0.5)
    assert middle is not None
    assert (middle.from_d, middle.to_d) == (6, 7)
    assert middle.at_d == pytest.approx(6 + 11.5 / 12)
    assert daily.spread_d is not None
    once = batch(entry(2, 9, count=22))
    assert (once.reached(0.5), once.spread_d) == (Reached(0, 9, None), None)
    most_at_once = batch(entry(2, 5, count=2), entry(3, 9, count=30))
    assert most_at_once.reached(0.5) == Reached(5, 9, None)
    late_start = batch(entry(2, 6, count=10), entry(3, 7, count=20), entry(4, 8, count=30))
    half = late_start.reached(0.5)
    assert half is not None
    assert half.at_d == pytest.approx(6.5)
    assert late_start.spread_d is None  # the first tenth came at any time before day 6
    assert batch(entry(2, 9, count=0)).reached(0.5) is None
