"""Trays whose tilt is known, in a real store: the high end is named as the journal calls it."""

from collections.abc import Iterator
from pathlib import Path

import msgspec
import pytest

from tests.services import place_garden as made
from tests.services.place_garden import NOW_MS, PlaceGarden
from tests.services.questions.conftest import grounded
from traywarden.domain.journal import Kind
from traywarden.domain.level import Verdict
from traywarden.errors import ShortOfDataError, UsageError
from traywarden.services.journal import Draft, correct, put, undo
from traywarden.services.questions.level import LevelAnswer, ask_level
from traywarden.store import journal as journal_store


@pytest.fixture(scope="module")
def garden(tmp_path_factory: pytest.TempPathFactory) -> Iterator[PlaceGarden]:
    built = made.place_garden(tmp_path_factory.mktemp("garden"))
    yield built
    built.store.close()


def asked(garden: PlaceGarden, tray: str = "") -> LevelAnswer:
    with grounded(garden.store, NOW_MS) as ground:
        return ask_level(ground, tray)


def test_the_north_end_is_named_although_its_head_reads_wetter(garden: PlaceGarden) -> None:
    """Its head is 0.04 m³/m³ too wet, and it settles 0.05 lower: only waterings from above part the two."""
    [pair] = asked(garden, "long").pairs
    found = pair.level
    assert found.verdict is Verdict.OUT_OF_LEVEL
    assert found.drier is not None
    assert found.drier.end == "north"
    assert (found.waterings, found.from_above) == (len(made.BELOW_D), len(made.ABOVE_D))
    assert abs(found.a_less_b_pct.estimate or 0) == pytest.approx(100 * made.HIGH_NORTH / 0.55, abs=1.5)
    assert found.reference == "3 waterings from above"
    assert pair.sentence.startswith("long stands out of level, high towards north")
    assert f"in 11 of {len(made.BELOW_D)} waterings from below" in pair.sentence


def test_of_two_trays_on_a_base_the_high_one_and_its_end_are_named(garden: PlaceGarden) -> None:
    [pair] = asked(garden, "one").pairs
    assert (pair.subject, pair.compared) == ("base long base", "trays")
    assert pair.level.verdict is Verdict.OUT_OF_LEVEL
    assert pair.level.drier is not None
    assert (pair.level.drier.name, pair.level.drier.end) == ("two", "east")


def test_every_watering_is_shown_with_how_it_came(garden: PlaceGarden) -> None:
    pair = next(p for p in asked(garden).pairs if p.subject == "long")
    below = [w.at.day - 1 for w in pair.waterings if w.how == "from below"]
    above = [w.at.day - 1 for w in pair.waterings if w.how == "from above"]
    assert (below, above) == (list(made.BELOW_D), list(made.ABOVE_D))


def test_the_answer_is_json_able(garden: PlaceGarden) -> None:
    built = msgspec.to_builtins(asked(garden))
    assert {pair["level"]["verdict"] for pair in built["pairs"]} == {"out of level"}


def test_a_tray_with_one_head_and_no_shared_base_is_told_how_to_be_asked(garden: PlaceGarden) -> None:
    with grounded(garden.store, NOW_MS) as ground:
        with pytest.raises(UsageError, match="Tray “bench a” has not two heads"):
            ask_level(ground, "bench a")
        with pytest.raises(UsageError, match="--days 60"):
            ask_level(ground, "long", days=0)


def test_moving_a_tray_begins_anew_and_ends_its_stay_on_the_base(tmp_path: Path) -> None:
    """Out of level is a matter of the spot: two days after a move nothing can be told yet."""
    garden = made.place_garden(tmp_path)
    at_ms = NOW_MS - 2 * made.DAY_MS
    with garden.store.write() as tx:
        for name in ("long", "two"):
            put(
                tx,
                Draft(
                    Kind.MOVED, at_ms, tray_id=garden.tray_ids[name], place_id=garden.place_ids["Open bench"]
                ),
                at_ms,
            )
    [pair] = asked(garden, "long").pairs
    assert pair.level.verdict is Verdict.CANNOT_TELL
    assert "no watering from below was seen on both sides" in pair.level.reason
    with grounded(garden.store, NOW_MS) as ground, pytest.raises(UsageError, match="traywarden tray base"):
        ask_level(ground, "one")
    garden.store.close()


def test_the_end_of_a_head_and_a_base_can_be_corrected_and_taken_back(tmp_path: Path) -> None:
    garden = made.place_garden(tmp_path)
    with garden.store.read() as tx:
        entries = journal_store.entries(tx)
    placed = next(e for e in entries if e.kind is Kind.HEAD_PLACED and e.data.get("end") == "north")
    based = [e for e in entries if e.kind is Kind.ON_BASE]
    with garden.store.write() as tx:
        correct(tx, placed.entry_id, NOW_MS, {"end": "uphill"})
        undo(tx, based[0].entry_id, NOW_MS)
    [pair] = asked(garden, "long").pairs
    assert pair.level.drier is not None
    assert pair.level.drier.end == "uphill"
    assert {p.subject for p in asked(garden).pairs} == {"long"}
    with garden.store.write() as tx:
        undo(tx, [e for e in journal_store.entries(tx) if e.kind is Kind.UNDONE][-1].entry_id, NOW_MS)
    assert {p.subject for p in asked(garden).pairs} == {"long", "base long base"}
    garden.store.close()


def test_a_garden_without_pairs_is_told_how_to_make_one(tmp_path: Path) -> None:
    garden = made.place_garden(tmp_path)
    with garden.store.read() as tx:
        entries = journal_store.entries(tx)
    with garden.store.write() as tx:
        for entry in entries:
            if entry.kind is Kind.ON_BASE or entry.data.get("end") == "north":
                undo(tx, entry.entry_id, NOW_MS)
    with grounded(garden.store, NOW_MS) as ground, pytest.raises(ShortOfDataError, match="two heads in it"):
        ask_level(ground)
    garden.store.close()
