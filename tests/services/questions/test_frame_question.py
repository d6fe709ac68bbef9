"""A frame on a garden whose lid is known, and a glasshouse read in from its files."""

from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from tests.services import place_garden as made
from tests.services.place_garden import NOW_MS, PlaceGarden
from tests.services.questions.conftest import grounded
from tests.shared_data import shared_file
from traywarden.domain.journal import Kind
from traywarden.domain.readings import BOOT_IMPORTED
from traywarden.errors import ShortOfDataError, UsageError
from traywarden.services.questions.frame import FrameAsked, ask_frame
from traywarden.store import garden as garden_store
from traywarden.store import journal, probes, readings
from traywarden.store.store import Store


@pytest.fixture(scope="module")
def garden(tmp_path_factory: pytest.TempPathFactory) -> Iterator[PlaceGarden]:
    built = made.place_garden(tmp_path_factory.mktemp("garden"))
    yield built
    built.store.close()


def test_every_opening_is_seen_with_its_closing_and_what_the_journal_told(garden: PlaceGarden) -> None:
    with grounded(garden.store, NOW_MS) as ground:
        answer = ask_frame(ground, FrameAsked("cold frame"))
    assert [row.opened.day - 1 for row in answer.openings] == list(made.LID_DAYS)
    for row in answer.openings:
        opened_h = row.opened.hour + row.opened.minute / 60
        assert opened_h == pytest.approx(made.LID_H[0], abs=0.34)
        assert row.closed is not None
        assert row.closed.hour + row.closed.minute / 60 == pytest.approx(made.LID_H[1], abs=0.34)
        assert row.fell_pct is not None
        assert row.fell_pct > 80
    known = [row.known_from for row in answer.openings]
    assert known == ["record and journal"] * 3 + ["record"] * 4
    assert [row.note for row in answer.openings[:3]] == ["lid up"] * 3


def test_hot_days_without_an_opening_are_counted_against_the_opener(garden: PlaceGarden) -> None:
    with grounded(garden.store, NOW_MS) as ground:
        answer = ask_frame(ground, FrameAsked("cold frame"))
        cooler = ask_frame(ground, FrameAsked("cold frame", against="shade"))
    work = answer.work
    assert (round((work.days.estimate or 0) * work.days.n), work.days.n) == (7, 9)
    opened = {row.opened.date() for row in answer.openings}
    hot = {
        made.START_MS + round(s.start_s * 1000 - made.START_MS) // made.DAY_MS * made.DAY_MS
        for s in work.spells
    }
    shut = sorted((ms - made.START_MS) // made.DAY_MS for ms in hot if ground.at(ms).date() not in opened)
    assert shut == list(made.HOT_DAYS_SHUT)
    assert answer.hot_h > 10
    assert answer.known_h == pytest.approx(30 * 24, abs=1)
    assert cooler.against == "Shade"
    with grounded(garden.store, NOW_MS, frames__vent_above_c=60.0) as ground:
        never = ask_frame(ground, FrameAsked("cold frame"))
    assert (never.hot_h, never.work.spells) == (0.0, ())
    assert never.work.verdict == "it was never hot: opened before it was, or for another reason"


def test_the_night_gain_is_set_beside_the_published_one(garden: PlaceGarden) -> None:
    with grounded(garden.store, NOW_MS) as ground:
        answer = ask_frame(ground, FrameAsked("cold frame"))
    night = answer.gain.night_difference_c
    assert night.estimate == pytest.approx(4.2, abs=0.3)
    assert answer.night.startswith("As published (")
    assert "3–6 °C (5–10 °F)" in answer.night
    assert "Univ. of Missouri Extension G6965" in answer.night


def test_places_that_are_open_or_unmeasured_are_refused(garden: PlaceGarden) -> None:
    with grounded(garden.store, NOW_MS) as ground:
        with pytest.raises(UsageError, match="“Open bench” is not covered"):
            ask_frame(ground, FrameAsked("open bench"))
        with pytest.raises(UsageError, match="cannot be held against itself"):
            ask_frame(ground, FrameAsked("cold frame", against="cold frame"))
        with pytest.raises(ShortOfDataError, match="No air temperature was measured in “Empty corner”"):
            ask_frame(ground, FrameAsked("cold frame", against="empty corner"))


def test_an_opening_that_only_the_journal_knows_is_listed_as_that(tmp_path: Path) -> None:
    garden = made.place_garden(tmp_path)
    at_ms = made.START_MS + 2 * made.DAY_MS + 9 * 3_600_000
    with garden.store.write() as tx:
        journal.write(tx, Kind.VENTED, at_ms, at_ms, place_id=garden.place_ids["Cold frame"], note="aired")
    with grounded(garden.store, NOW_MS) as ground:
        first = ask_frame(ground, FrameAsked("cold frame")).openings[0]
    garden.store.close()
    assert (first.known_from, first.note, first.closed, first.fell_pct) == ("journal", "aired", None, None)
    assert first.opened_at_c is not None


@pytest.mark.data
def test_a_recorded_glasshouse_is_a_greenhouse_that_is_opened_often(tmp_path: Path) -> None:
    """Its night gain is heating, and no frame's: it is not set beside the figure for frames."""
    store = Store.open(f"sqlite:///{tmp_path / 'traywarden.sqlite3'}")
    last_ms = 0
    with store.write() as tx:
        garden_store.set_garden(tx, "Glass", "Etc/UTC", now_ms=0)
        for name, kind, file, column in (
            ("House", "greenhouse", "glasshouse_inside_2022.csv", "Tair"),
            ("Field", "open ground", "glasshouse_outside_2022.csv", "Tout"),
        ):
            table = pd.read_csv(shared_file(file)).drop_duplicates("Date")
            stamps = pd.to_datetime(table["Date"], format="%m/%d/%Y %H:%M").to_numpy("datetime64[ms]")
            time_ms = stamps.astype(np.int64)
            last_ms = max(last_ms, int(time_ms[-1]))
            values = {"air_temp_c": table[column].to_numpy(np.float64)}
            readings.insert_columns(tx, name.lower(), 0, BOOT_IMPORTED, time_ms, last_ms, values)
            head_id = probes.ensure_heads(tx, [(name.lower(), 0)], 0)[name.lower(), 0]
            place = garden_store.add_place(tx, name, kind)
            journal.write(tx, Kind.HEAD_PLACED, int(time_ms[0]), 0, head_id=head_id, place_id=place.place_id)
    now_ms = int(pd.Timestamp("2022-03-15T23:59").timestamp() * 1000)
    with grounded(store, now_ms) as ground:
        answer = ask_frame(ground, FrameAsked("House"))
    store.close()
    assert answer.night == ""
    assert answer.gain.night_difference_c.estimate == pytest.approx(10.7, abs=3)
    assert len(answer.openings) > 150
    assert answer.work.opened_at_c.middle == pytest.approx(25.0, abs=2.0)
