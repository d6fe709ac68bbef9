"""What of the journal answers an episode of a place: carrying out what the notice was about, all of it."""

from dataclasses import replace

import pytest

from tests.services.timelines import CALM, Line
from tests.services.watched_garden import HOUR_MS, START_MS, WatchedGarden, settings_with
from traywarden.domain.episodes import Episode
from traywarden.domain.garden import PlaceKind
from traywarden.domain.journal import Kind
from traywarden.domain.subjects import Subject, SubjectKind
from traywarden.services.deeds import deeds_for
from traywarden.services.knowledge import Knowledge
from traywarden.services.link_deeds import done_since
from traywarden.store import garden as garden_store
from traywarden.store import journal as journal_store
from traywarden.store.crops import load_crops
from traywarden.store.store import Store


class Frame:
    """Trays A, B and C stand in a frame; C is empty."""

    def __init__(self, store: Store) -> None:
        self.store, self.garden = store, WatchedGarden(store, settings_with(), trays=3)
        self.moves = 0
        with store.write() as tx:
            self.place_id = garden_store.add_place(tx, "frame", PlaceKind.COLD_FRAME).place_id
            at_ms = START_MS - HOUR_MS
            tray_id = self.garden.tray_ids["C"]
            journal_store.write(tx, Kind.PLANTED_OUT, at_ms, at_ms, tray_id=tray_id)
        for tray in "ABC":
            self.move(tray, START_MS - HOUR_MS, self.place_id)

    def move(self, tray: str, at_ms: int, place_id: int = 0) -> None:
        to = place_id or self.garden.place.place_id
        with self.store.write() as tx:
            journal_store.write(tx, Kind.MOVED, at_ms, at_ms, tray_id=self.garden.tray_ids[tray], place_id=to)

    def deeds_ms(self, rule: str, trays: str = "") -> list[int]:
        """When what answers a notice of START_MS was done, in hours after it."""
        facts = {"trays": trays} if trays else {}
        place = Subject(SubjectKind.PLACE, self.place_id)
        self.episode = Episode(f"{rule}:{place}:{START_MS}", rule, place, START_MS, facts=facts)
        with self.store.read() as tx:
            self.known = Knowledge(tx, load_crops())
        return [(e.at_ms - START_MS) // HOUR_MS for e in deeds_for(self.known, self.episode)]


@pytest.mark.parametrize("rule", ["vent", "frost", "rain"])
def test_who_carries_out_one_of_two_has_one_to_go(sqlite_store: Store, rule: str) -> None:
    frame = Frame(sqlite_store)
    assert frame.deeds_ms(rule) == []
    frame.move("A", START_MS + HOUR_MS)
    assert frame.deeds_ms(rule) == []
    assert not done_since(frame.known, frame.episode, START_MS)
    frame.move("B", START_MS + 2 * HOUR_MS)
    assert frame.deeds_ms(rule) == [2], "the planted out one is nobody's matter"
    assert done_since(frame.known, frame.episode, START_MS)


def test_of_what_the_notice_names_all_must_be_gone_and_no_more(sqlite_store: Store) -> None:
    frame = Frame(sqlite_store)
    frame.move("A", START_MS + HOUR_MS)
    assert frame.deeds_ms("frost", "A") == [1]
    assert frame.deeds_ms("frost", "A and B") == []
    assert frame.deeds_ms("frost", "B") == []


def test_what_was_carried_out_before_or_is_carried_in_answers_nothing(sqlite_store: Store) -> None:
    frame = Frame(sqlite_store)
    frame.move("A", START_MS - 1000)
    frame.move("B", START_MS - 1000)
    frame.move("A", START_MS + HOUR_MS, frame.place_id)
    assert frame.deeds_ms("vent") == []


def test_a_frame_that_was_emptied_is_over_at_once_and_whoever_did_it_is_not_told(sqlite_store: Store) -> None:
    line = Line(sqlite_store)
    hot = replace(CALM, air_c=31.0)
    line.run(hot, 1)
    assert line.said == [("vent", "opened")]
    line.write(Kind.MOVED, line.at_ms, tray_id=line.tray_id, place_id=line.garden.place.place_id)
    line.run(hot, 2)
    (episode,) = line.garden.episodes("vent")
    assert episode.closed_ms is not None
    assert line.said == [("vent", "opened")]


def test_a_frame_of_which_one_tray_was_carried_out_goes_on_about_the_other(sqlite_store: Store) -> None:
    line = Line(sqlite_store, {"notices__remind_after_s": 3600.0})
    with line.store.write() as tx:
        other = garden_store.add_tray(tx, "B", 40, 3.0).tray_id
    line.write(Kind.MOVED, line.at_ms - HOUR_MS, tray_id=other, place_id=line.frame.place_id)
    line.write(Kind.SOWED, line.at_ms - HOUR_MS, tray_id=other, data={"crop": "tomato"})
    hot = replace(CALM, air_c=31.0)
    line.run(hot, 1)
    line.write(Kind.MOVED, line.at_ms, tray_id=other, place_id=line.garden.place.place_id)
    line.run(hot, 2)
    assert line.of("vent") == ["opened", "reminded"]
    assert "not helped" not in line.bodies[-1]
    line.write(Kind.MOVED, line.at_ms, tray_id=line.tray_id, place_id=line.garden.place.place_id)
    line.run(hot, 1)
    assert line.of("vent") == ["opened", "reminded"]
    assert [e for e in line.garden.episodes("vent") if e.closed_ms is None] == []
