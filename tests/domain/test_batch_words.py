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
        "More of bench came up than of frame: 60 of 100 against 90 of 100, 30 of 100 seeds more (18 to 41)"
        in words
    )
    assert "bench came up about 2.5 days sooner than frame" in words
    assert "unlikely to be chance (less than 1 time in 1000)" in words


def test_too_few_to_tell_says_so_and_how_many_would() -> None:
    words = said(batch(20, (6, 5), (9, 14)), batch(20, (6, 3), (9, 10)))
    assert (
        "Whether more of frame or of bench came up cannot be told: 14 of 20 against 10 of 20 (−10 to +45"
        in words
    )
    assert "Were the difference real, about 5 times as many seeds would show it." in words
    assert "Which came up sooner cannot be told" in words


def test_alike_is_said_only_with_how_nearly() -> None:
    words = said(
        batch(400, (5, 0), (6, 150), (7, 300), (8, 360)), batch(400, (5, 0), (6, 155), (7, 296), (8, 358))
    )
    assert (
        "As many of frame came up as of bench: 360 of 400 against 358 of 400, alike to within 5 of 100"
        in words
    )
    assert "came up at the same time, to within 0." in words


def test_unknown_seeds_and_hardly_any_seedlings_have_their_own_sentences() -> None:
    words = said(batch(None, (5, 2)), batch(50, (5, 30)))
    assert "How many seeds were sown is not known of one." in words
    assert "cannot be told: fewer than 3 seedlings came up on one side." in words


def test_one_batch_in_a_sentence() -> None:
    metrics = batch(50, (5, 0), (7, 20), (9, 40)).metrics()
    assert batch_sentence("A1", metrics, wilson(40, 50)) == (
        "A1: 40 of 50 seeds came up, 80 % (67 to 89 %). Half of them were up after 7 days, "
        "four in five within 3.2 days of each other."
    )
    assert batch_sentence("A1", None, None) == "A1: not counted yet."
    none = batch(50, (5, 0)).metrics()
    assert batch_sentence("A1", none, wilson(0, 50)) == "A1: none of 50 seeds had come up at the last count."


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
