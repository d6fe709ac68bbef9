"""A new name: everything refers to numbers, so the past comes along, and the journal can take it back."""

from collections.abc import Iterator
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest

from tests.services.little_garden import NOW_MS, LittleGarden, little_garden
from traywarden.domain.journal import Entry
from traywarden.domain.units import Display
from traywarden.errors import UnknownNameError, UsageError
from traywarden.services.journal import correct, undo
from traywarden.services.journal_words import entry_lines
from traywarden.services.renaming import NOUNS, rename
from traywarden.store import garden
from traywarden.store import journal as journal_store

ZONE = ZoneInfo("Europe/Lisbon")


@pytest.fixture
def made(tmp_path: Path) -> Iterator[LittleGarden]:
    found = little_garden(tmp_path, with_readings=False)
    with found.store.write() as tx:
        garden.add_lot(tx, "Roma", "tomato")
    yield found
    found.store.close()


def trays(made: LittleGarden) -> dict[int, str]:
    with made.store.read() as tx:
        return {tray.tray_id: tray.name for tray in garden.trays(tx)}


def renamed(made: LittleGarden, noun: str, name: str, new: str) -> Entry:
    with made.store.write() as tx:
        return rename(tx, noun, name, new, NOW_MS)


def taken_back(made: LittleGarden, entry: Entry) -> Entry:
    with made.store.write() as tx:
        return undo(tx, entry.entry_id, NOW_MS)


def test_a_trays_past_shows_under_its_new_name(made: LittleGarden) -> None:
    with made.store.read() as tx:
        before = journal_store.entries(tx)
    entry = renamed(made, "tray", "LETTUCE", " Salad & <b> 🥬 ")
    with made.store.read() as tx:
        lines = entry_lines(tx, journal_store.entries(tx), {}, ZONE, Display())
        of_tray = [line for line in lines if line.tray == "Salad & <b> 🥬"]
        assert len(of_tray) == 1 + sum(e.tray_id == entry.tray_id for e in before)
        assert of_tray[-1].says == "tray “lettuce” is called “Salad & <b> 🥬”"
        with pytest.raises(UnknownNameError):
            garden.tray_named(tx, "lettuce")


def test_taking_it_back_and_bringing_it_back_change_the_name(made: LittleGarden) -> None:
    entry = renamed(made, "tray", "lettuce", "salad")
    number = entry.tray_id
    assert number is not None
    back = taken_back(made, entry)
    assert trays(made)[number] == "lettuce"
    again = taken_back(made, back)
    assert trays(made)[number] == "salad"
    taken_back(made, again)
    assert trays(made)[number] == "lettuce"


def test_an_older_renaming_is_not_taken_back_under_a_newer_one(made: LittleGarden) -> None:
    first = renamed(made, "tray", "lettuce", "salad")
    renamed(made, "tray", "salad", "greens")
    with pytest.raises(UsageError, match="is called “greens” by now"):
        taken_back(made, first)


def test_a_name_that_was_given_away_since_is_not_taken_back(made: LittleGarden) -> None:
    first = renamed(made, "tray", "lettuce", "salad")
    renamed(made, "tray", "peppers", "lettuce")
    with pytest.raises(UsageError, match="already a tray called “lettuce”"):
        taken_back(made, first)
    assert "salad" in trays(made).values()


@pytest.mark.parametrize("noun", NOUNS)
def test_every_noun_can_be_renamed_and_one_name_belongs_to_one(made: LittleGarden, noun: str) -> None:
    with made.store.read() as tx:
        names = {
            "tray": [tray.name for tray in garden.trays(tx)],
            "place": [place.name for place in garden.places(tx)],
            "mix": [mix.name for mix in garden.mixes(tx)],
            "lot": [lot.name for lot in garden.lots(tx)],
        }[noun]
    name = names[0]
    entry = renamed(made, noun, name, name.upper())  # capitals alone
    assert entry.data["name"] == name.upper()
    with pytest.raises(UsageError, match="already; give another name"):
        renamed(made, noun, name, name.upper())
    for other in names[1:2]:
        with pytest.raises(UsageError, match=f"already a {noun} called"):
            renamed(made, noun, other, name)


@pytest.mark.parametrize(
    ("new", "says"), [(" ", "needs a name"), ("x" * 81, "81 characters"), ("a\nb", "control")]
)
def test_what_cannot_be_a_name_is_refused_and_written_nowhere(
    made: LittleGarden, new: str, says: str
) -> None:
    with made.store.read() as tx:
        before = journal_store.newest_entry_id(tx)
    with pytest.raises(UsageError, match=says):
        renamed(made, "tray", "lettuce", new)
    with made.store.read() as tx:
        assert journal_store.newest_entry_id(tx) == before


def test_an_entry_of_a_renaming_is_not_corrected(made: LittleGarden) -> None:
    entry = renamed(made, "tray", "lettuce", "salad")
    with made.store.write() as tx, pytest.raises(UsageError, match="Rename it once more"):
        correct(tx, entry.entry_id, NOW_MS, {}, note="oops")
