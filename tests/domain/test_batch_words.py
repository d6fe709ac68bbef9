"""The sentences about batches."""

import pytest

from tests.domain.test_batch_comparison import batch
from tests.figures.batches import recorded
from traywarden.domain.batch_comparison import compare_batches
from traywarden.domain.batch_words import batch_sentence, chance_words, comparison_sentences
from traywarden.domain.batches import Batch
from traywarden.domain.proportions import wilson


def said(a: Batch, b: Batch) -> str:
    return " ".join(comparison_sentences(compare_batches(a, b), "frame", "bench"))


def test_the_worse_side_named_first_still_reads_as_who_did_better() -> None:
    words = said(
        batch(100, (4, 0), (6, 0), (8, 10), (10, 45), (14, 60)),
        batch(100, (4, 0), (6, 30), (8, 80), (10, 90), (14, 90)),
    )
    assert (
        "By day 14 more of bench had come up than of frame: 90 of 100 against 60 of 100, "
        "30 of 100 seeds more (18 to 41)" in words
    )
    assert "bench came up about 2.5 days sooner than frame" in words
    assert "unlikely to be chance (less than 1 time in 1000)" in words


def test_too_few_to_tell_says_so_and_how_many_would() -> None:
    words = said(batch(20, (6, 5), (9, 14)), batch(20, (6, 3), (9, 10)))
    assert (
        "Whether more of frame or of bench came up cannot be told: "
        "14 of 20 against 10 of 20 by day 9 (−10 to +45" in words
    )
    assert "Were the difference real, about 5 times as many seeds would show it." in words
    assert (
        "Which came up sooner cannot be told, as nobody looked often enough: half of frame was up after"
        in words
    )


def test_alike_is_said_only_with_how_nearly() -> None:
    words = said(
        batch(400, (5, 0), (6, 150), (7, 300), (8, 360)), batch(400, (5, 0), (6, 155), (7, 296), (8, 358))
    )
    assert (
        "By day 8 as many of frame had come up as of bench: 360 of 400 against 358 of 400, "
        "alike to within 5 of 100" in words
    )
    assert "came up at the same time, to within 0." in words


def test_unknown_seeds_and_hardly_any_seedlings_have_their_own_sentences() -> None:
    words = said(batch(None, (5, 2)), batch(50, (5, 30)))
    assert "How many seeds were sown is not known of one." in words
    assert "cannot be told: fewer than 3 seedlings came up on one side." in words


def sentence(found: Batch) -> str:
    return batch_sentence("A1", found, wilson(found.up, found.sown) if found.sown and found.counts else None)


def test_one_batch_in_a_sentence() -> None:
    assert sentence(batch(50, (5, 0), (7, 20), (9, 40), (12, 40))) == (
        "A1: 40 of 50 seeds came up, 80 % (67 to 89 %). Half of them were up after 7 days, "
        "four in five within 3.2 days of each other."
    )
    assert sentence(batch(50)) == "A1: not counted yet."
    assert (
        sentence(batch(50, (5, 0)))
        == "A1: none of 50 seeds had come up at the last count, 5 days after sowing."
    )


def test_what_the_visits_leave_open_is_not_put_in_days() -> None:
    assert sentence(batch(40, (8.9, 22))).endswith(
        "22 of 40 seeds up so far, 55 % (40 to 69 %). All of them were up at the first count, 8.9 days after "
        "sowing; nobody had counted before."
    )
    assert "All of them came up between 5 and 9 days after sowing." in sentence(batch(40, (5, 0), (9, 22)))
    assert "Half of them were up between 5 and 9 days" in sentence(batch(40, (5, 2), (9, 22), (10, 24)))
    assert "Half of them or more were up at the first count, 9 days" in sentence(batch(40, (9, 20), (12, 22)))
    assert "Half of them were up after 6.5 days." in sentence(batch(40, (6, 10), (7, 20), (8, 30), (10, 30)))


def test_a_count_that_was_not_made_is_told_as_such() -> None:
    words = said(batch(40, (8.9, 22)), batch(40, (7.4, 22)))
    assert words == (
        "Whether more of frame or of bench came up cannot be told: 22 of 40 by day 9 against 22 of 40 by "
        "day 7; the one counted earlier was still coming up. Count both on one day. "
        "Which came up sooner cannot be told: they were not counted on the same days while they came up."
    )
    assert "By day 7 more of frame had come up than of bench: 30 of 40 against at most 8 of 40" in said(
        batch(40, (7, 30)), batch(40, (4, 0), (12, 8))
    )
    assert "of bench had come up than of frame: 30 of 40 against at most 8 of 40, 55 of 100" in said(
        batch(40, (4, 0), (12, 8)), batch(40, (7, 30))
    )
    assert "none had come up by then." in said(batch(40, (5, 0)), batch(40, (5, 0)))
    assert "More of bench came up than of frame: 30 of 40 by day 17 against 8 of 40 by day 9" in said(
        batch(40, (6, 8), (9, 8)), batch(40, (6, 0), (14, 30), (17, 30))
    )


def test_visits_too_far_apart_for_days_give_the_days_between_which_half_was_up() -> None:
    apart = said(batch(40, (4, 0), (6, 30), (9, 30)), batch(40, (8, 0), (14, 30), (17, 30)))
    assert (
        "frame came up sooner than bench, which is unlikely to be chance (less than 1 time in 1000); by how "
        "much is not known, as nobody looked often enough: half of frame was up between day 4 and 6, "
        "half of bench between day 8 and 14."
    ) in apart
    open_ = said(batch(40, (9, 30), (12, 30)), batch(40, (6, 0), (14, 30), (17, 30)))
    assert "cannot be told, as nobody looked often enough: half of frame was up before day 9" in open_


@pytest.mark.parametrize(
    ("p_value", "words"),
    [(0.04, "1 time in 25"), (0.1, "1 time in 10"), (0.12, "1 time in 10"), (1.0, "9 times in 10")],
)
def test_chances_are_put_as_times_in_ten_or_one_in_so_many(p_value: float, words: str) -> None:
    assert chance_words(p_value) == words


@pytest.mark.data
def test_sooner_on_the_whole_but_not_by_a_known_number_of_days_is_said_so() -> None:
    words = said(recorded(30.0), recorded(25.0))
    assert (
        "frame came up sooner on the whole than bench, which is unlikely to be chance (1 time in 3" in words
    )
    assert "half of it was up about 2.7 days sooner (−" in words
