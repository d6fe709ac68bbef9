"""What is said of the batches of a garden, from its journal."""

from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest

from tests.services.little_garden import DAY_MS, NOW_MS, START_MS, LittleGarden, little_garden
from tests.services.questions.conftest import grounded
from traywarden.domain.batch_comparison import Verdict
from traywarden.domain.journal import Kind
from traywarden.errors import ShortOfDataError, UnknownNameError, UsageError
from traywarden.services.batches import named
from traywarden.services.questions.batch import ask_batch
from traywarden.services.questions.batch_picture import batch_picture, count_rows
from traywarden.services.questions.batches import ask_batches
from traywarden.store import garden as garden_store
from traywarden.store import journal
from traywarden.store.store import Tx

FRAME = ((4, 0), (5, 8), (6, 22), (7, 33), (9, 38), (12, 38))
BENCH = ((5, 0), (7, 4), (9, 15), (11, 24), (13, 26), (14, 26))


def sow(
    tx: Tx, tray_id: int, crop: str, counts: tuple[tuple[float, int], ...], start_ms: int = START_MS + 1
) -> int:
    sowed = journal.write(
        tx,
        Kind.SOWED,
        start_ms,
        start_ms,
        tray_id=tray_id,
        data={"crop": crop, "cells": 40, "seeds_per_cell": 1},
    )
    for day, up in counts:
        at_ms = start_ms + round(day * DAY_MS)
        journal.write(tx, Kind.EMERGED, at_ms, at_ms, tray_id=tray_id, data={"count": up})
    return sowed.entry_id


@pytest.fixture(scope="module")
def counted(tmp_path_factory: pytest.TempPathFactory) -> Iterator[LittleGarden]:
    """Tomatoes in the frame and, under the name of lettuce, on the bench, both counted; peppers not."""
    made = little_garden(tmp_path_factory.mktemp("counted"), with_readings=False)
    with made.store.write() as tx:
        sow(tx, made.tray_ids["tomatoes"], "tomato", FRAME)
        sow(tx, made.tray_ids["lettuce"], "tomato", BENCH)
    yield made
    made.store.close()


def test_a_batch_is_told_with_its_share_its_times_and_where_it_stood(counted: LittleGarden) -> None:
    with grounded(counted.store) as on:
        answer = ask_batch(on, "tomatoes")
    card = answer.first
    assert (card.crop, card.place, card.mix, card.seeds_sown, card.up) == (
        "Tomato",
        "Cold frame",
        "Peat mix",
        40,
        38,
    )
    assert card.sentence.startswith(
        "tomatoes: 38 of 40 seeds came up, 95 % (83 to 99 %). Half of them were up after"
    )
    assert [row.newly_up for row in card.counts] == [0, 8, 14, 11, 5, 0]
    assert (card.half_from, card.half_to) == (card.counts[1].at, card.counts[2].at)
    assert card.metrics is not None
    assert card.metrics.t50_farooq_d == pytest.approx(5 + 11 / 14)
    assert card.curve is not None
    assert card.curve.half_d == pytest.approx(5.9, abs=0.2)
    assert answer.comparison is None


def test_two_batches_are_compared_and_what_else_differed_is_named(counted: LittleGarden) -> None:
    with grounded(counted.store) as on:
        answer = ask_batch(on, "tomatoes", "lettuce")
    found = answer.comparison
    assert found is not None
    assert found.numbers is not None
    assert (found.numbers.verdict, found.timing.verdict) == (Verdict.A, Verdict.A)
    more, sooner = answer.sentences
    assert more.startswith(
        "More of tomatoes came up than of lettuce: 38 of 40 by day 12 against 26 of 40 by day 14, "
        "30 of 100 seeds more"
    )
    assert sooner.startswith("tomatoes came up about 2.9 days sooner than lettuce")
    assert "unlikely to be chance" in sooner
    assert answer.differed == (
        "place: Cold frame against Open bench",
        "mix: Peat mix against Bark mix",
    )


def test_an_earlier_sowing_of_a_tray_is_named_by_a_day(tmp_path: Path) -> None:
    made = little_garden(tmp_path, with_readings=False)
    tray_id = made.tray_ids["tomatoes"]
    with made.store.write() as tx:
        first = sow(tx, tray_id, "tomato", ((3, 5), (5, 30), (6, 31)))
        sow(tx, tray_id, "tomato", ((3, 1), (5, 12)), START_MS + 7 * DAY_MS)
    with grounded(made.store) as on:
        then = ask_batch(on, "tomatoes@2026-03-08")
        both = ask_batch(on, "tomatoes@2026-03-08", "tomatoes")
        with pytest.raises(UsageError, match="one sowing"):
            ask_batch(on, "tomatoes", "tomatoes@2026-03-15")
        with pytest.raises(ShortOfDataError, match="Nothing was sown in tray “tomatoes” by 2026-02-01"):
            ask_batch(on, "tomatoes@2026-02-01")
        with pytest.raises(UsageError, match="After @"):
            ask_batch(on, "tomatoes@ ")
    made.store.close()
    assert (then.first.sowing_entry, then.first.up) == (first, 31)
    assert then.first.still_rising is False
    assert [c.name for c in (both.first, both.second) if c] == [
        "tomatoes of 2026-03-02",
        "tomatoes of 2026-03-09",
    ]
    assert any(words.startswith("sown: ") for words in both.differed)


def test_a_batch_that_was_never_counted_says_how_to(counted: LittleGarden) -> None:
    with grounded(counted.store) as on:
        with pytest.raises(ShortOfDataError, match='traywarden emerged "peppers" --count 0'):
            ask_batch(on, "peppers")
        with pytest.raises(UnknownNameError):
            ask_batch(on, "radishes")


def test_what_is_wrong_with_the_counts_is_said(tmp_path: Path) -> None:
    made = little_garden(tmp_path, with_readings=False)
    with made.store.write() as tx:
        for day, up in ((6, None), (8, 50), (9, 44)):
            at_ms = START_MS + day * DAY_MS
            data = {} if up is None else {"count": up}
            journal.write(tx, Kind.EMERGED, at_ms, at_ms, tray_id=made.tray_ids["tomatoes"], data=data)
        at_ms = START_MS + 5 * DAY_MS
        journal.write(
            tx,
            Kind.MOVED,
            at_ms,
            at_ms,
            tray_id=made.tray_ids["tomatoes"],
            place_id=made.place_ids["Open bench"],
        )
    with grounded(made.store) as on:
        card = ask_batch(on, "tomatoes").first
    made.store.close()
    told = " ".join(card.remarks)
    assert card.share is None
    assert "seeds were sown is not written down" in told
    assert f"traywarden journal correct {card.sowing_entry} --seeds-per-cell" in told
    assert "only 44 were counted after 50" in told
    assert "how evenly they came up cannot be told from these counts" in told
    assert "seen up, not counted, on 2026-03-08" in told
    assert "moved" in told
    assert card.place == "Cold frame"  # five days there, four on the bench
    assert card.sentence.startswith("tomatoes: 50 came up; how many seeds were sown is not known.")


def test_all_batches_are_listed_and_places_held_against_each_other(tmp_path: Path) -> None:
    made = little_garden(tmp_path, with_readings=False)
    ups = {"Cold frame": (36, 38, 34), "Open bench": (22, 28, 25)}
    with made.store.write() as tx:
        for place, counts in ups.items():
            for k, up in enumerate(counts):
                tray = garden_store.add_tray(tx, f"{place} {k}", 40, None)
                where = made.place_ids[place]
                journal.write(tx, Kind.MOVED, START_MS, START_MS, tray_id=tray.tray_id, place_id=where)
                sow(tx, tray.tray_id, "tomato", ((4 + k * 0.1, 0), (6, up - 2), (9, up), (12, up)))
        rising = garden_store.add_tray(tx, "rising", 40, None)
        sow(tx, rising.tray_id, "tomato", ((6, 5), (9, 20)))
    with grounded(made.store) as on:
        answer = ask_batches(on, crop="tomato", by="place")
        with pytest.raises(ShortOfDataError, match="No batch of Radish"):
            ask_batches(on, crop="radish")
        with pytest.raises(UsageError, match="not by “moon”"):
            ask_batches(on, by="moon")
        assert len(ask_batches(on).batches) == 7
        assert ask_batches(on, by="cover").groups[0].trays == 3
    made.store.close()
    assert [(g.name, g.trays) for g in answer.groups] == [("Cold frame", 3), ("Open bench", 3)]
    (pair,) = answer.pairs
    assert pair.pct is not None
    assert pair.pct.estimate == pytest.approx((36 + 38 + 34 - 22 - 28 - 25) / 120 * 100)
    assert pair.pct.p_value is not None
    assert 0.001 < pair.pct.p_value < 0.05
    assert "not yet counted to the end, and in no group: rising" in answer.remarks


def test_a_tray_counted_once_early_speaks_neither_for_its_place_nor_for_the_days(tmp_path: Path) -> None:
    made = little_garden(tmp_path, with_readings=False)
    with made.store.write() as tx:
        sow(tx, made.tray_ids["tomatoes"], "tomato", ((4, 0),))
        sow(tx, made.tray_ids["lettuce"], "tomato", ((9, 20), (12, 20)))
        sow(tx, made.tray_ids["peppers"], "tomato", FRAME)
    with grounded(made.store) as on:
        answer = ask_batches(on, by="place")
    made.store.close()
    assert sum(group.trays for group in answer.groups) == 2
    assert answer.remarks == (
        "not yet counted to the end, and in no group: tomatoes",
        "counted too seldom to say when half was up: lettuce",
    )
    once = next(row for row in answer.batches if row.tray == "lettuce")
    assert (once.half_d, once.half_from_d, once.half_to_d, once.spread_d) == (None, 0, 9, None)
    assert [group.mean_half_d for group in answer.groups] == [pytest.approx(5 + 11 / 14)]  # of the peppers


def test_of_many_trays_only_the_first_are_named() -> None:
    assert named(["B", "A", "B"]) == "A, B"
    assert named("ABCDEFG") == "A, B, C, D and 3 more"


def test_a_question_in_the_past_knows_only_what_was_counted_by_then(counted: LittleGarden) -> None:
    with grounded(counted.store, NOW_MS - 9 * DAY_MS) as on:
        assert ask_batch(on, "tomatoes").first.up == 8


def test_the_picture_holds_the_counts_and_knows_when_shares_cannot_be_drawn(counted: LittleGarden) -> None:
    with grounded(counted.store) as on:
        two = ask_batch(on, "tomatoes", "lettuce")
    rows = batch_picture(two)["datasets"]["counts"]
    assert [(row["batch"], row["all"]) for row in rows if row["counted"]] == [
        *(("tomatoes", up) for _, up in FRAME),
        *(("lettuce", up) for _, up in BENCH),
    ]
    assert max(row["up"] for row in rows) == max(row.up_pct or 0 for row in two.first.counts)
    unknown = replace(two, second=replace(two.second, share=None))  # type: ignore[type-var]
    assert max(row["up"] for row in batch_picture(unknown)["datasets"]["counts"]) == 38
    assert [row[4] for row in count_rows(two)] == [up for _, up in (*FRAME, *BENCH)]
