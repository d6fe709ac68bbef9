"""The page “Journal”: newest first, thirty to a page; every entry can be taken back or corrected."""

import re
from datetime import datetime
from html import unescape

import pytest

from tests.services.little_garden import NOW_MS, ZONE
from tests.web.conftest import Visitor
from traywarden.domain.journal import Entry, Kind, standing
from traywarden.services.journal_pages import PER_PAGE
from traywarden.store import garden, journal
from traywarden.web.journal import WAYS
from traywarden.web.writing import DEEDS

HOUR_MS = 3_600_000
HOSTILE = "<script>alert(1)</script>\u202e🍅 " + "x" * 10_000


def shown(visitor: Visitor, path: str) -> list[int]:
    return [int(n) for n in re.findall(r"<small>entry (\d+)", visitor.get(path))]


def holding(visitor: Visitor) -> list[Entry]:
    return standing(visitor.entries())


def last(visitor: Visitor, kind: Kind) -> Entry:
    return [entry for entry in holding(visitor) if entry.kind is kind][-1]


def watered_often(visitor: Visitor, times: int) -> None:
    with visitor.store.write() as tx:
        tray_id = garden.tray_named(tx, "peppers").tray_id
        for hours in range(times):
            at_ms = NOW_MS - hours * HOUR_MS
            journal.write(tx, Kind.WATERED, at_ms, NOW_MS, tray_id=tray_id)
    visitor.face.answers.written()


def test_entries_stand_newest_first_and_older_ones_are_a_page_away(visitor: Visitor) -> None:
    watered_often(visitor, 30)
    expected = [entry.entry_id for entry in reversed(holding(visitor))]
    assert shown(visitor, "/journal") == expected[:PER_PAGE]
    assert shown(visitor, "/journal?page_no=2") == expected[PER_PAGE:]
    assert shown(visitor, "/journal?page_no=99") == expected[PER_PAGE:]
    assert shown(visitor, "/journal?page_no=x") == expected[:PER_PAGE]
    assert 'rel="next" href="/journal?page_no=2"' in visitor.get("/journal")


def test_entries_of_a_day_stand_under_its_name_with_their_time(visitor: Visitor) -> None:
    text, entries = visitor.get("/journal"), list(reversed(holding(visitor)))[:PER_PAGE]
    days = [moment(each.at_ms) for each in entries]
    named = list(dict.fromkeys(f"{day:%A} {day.day} {day:%B}" for day in days))
    assert re.findall(r'<h2 class="of-day">([^<]+)</h2>', text) == named
    times = re.findall(r"<time datetime[^>]+>(\d\d:\d\d)</time> <strong>", text)
    assert times == [f"{day:%H:%M}" for day in days]


def moment(at_ms: int) -> datetime:
    return datetime.fromtimestamp(at_ms / 1000, ZONE)


def test_only_what_is_asked_for_is_shown(visitor: Visitor) -> None:
    watered_often(visitor, 40)
    with visitor.store.read() as tx:
        tomatoes = garden.tray_named(tx, "tomatoes").tray_id
    of_tray = {e.entry_id for e in holding(visitor) if e.tray_id == tomatoes}
    assert set(shown(visitor, f"/journal?tray={tomatoes}")) == of_tray
    watered = {e.entry_id for e in holding(visitor) if e.kind is Kind.WATERED}
    both = shown(visitor, "/journal?kind=watered") + shown(visitor, "/journal?kind=watered&page_no=2")
    assert set(both) == watered
    assert "kind=watered&amp;page_no=2" in visitor.get("/journal?kind=watered")
    assert "There is no kind of entry called “prayed”" in visitor.words("/journal?kind=prayed", status=400)
    assert "No entry is like that" in visitor.words("/journal?kind=weighed")


def test_an_entry_is_taken_back_and_brought_back(visitor: Visitor) -> None:
    entry = last(visitor, Kind.WATERED)
    visitor.send("/undo", back="/journal", entry=str(entry.entry_id))
    assert entry.entry_id not in shown(visitor, "/journal")
    text = visitor.words("/journal?all=yes")
    found = re.search(r"undone by (\d+)", text)
    assert found is not None
    assert "Bring it back" in text
    visitor.send("/undo", back="/journal?all=yes", entry=found[1])
    assert entry in holding(visitor)


def test_correcting_changes_only_what_was_written_otherwise(visitor: Visitor) -> None:
    old = last(visitor, Kind.WATERED)
    fields = form_fields(visitor, old)
    assert (fields["litres"], fields["how"], fields["tray"]) == ("1", "above", "tomatoes")
    words = visitor.send(
        "/journal/correct", entry=str(old.entry_id), **fields | {"litres": "1,5", "how": "below"}
    )
    assert "Written down" in words
    new = last(visitor, Kind.WATERED)
    assert new.replaces == old.entry_id
    assert (new.data, new.at_ms, new.tray_id) == ({"how": "below", "litres": 1.5}, old.at_ms, old.tray_id)
    visitor.send("/undo", entry=str(new.entry_id))
    assert last(visitor, Kind.WATERED) == old


def test_a_sowing_can_be_given_its_lot_seeds_tray_time_and_note(visitor: Visitor) -> None:
    with visitor.store.write() as tx:
        lot = garden.add_lot(tx, "Roma", "tomato", germination=0.8, tested=False, seeds=50)
    (old,) = (e for e in holding(visitor) if e.kind is Kind.SOWED and e.data["crop"] == "lettuce")
    said = form_fields(visitor, old) | {"lot": "Roma", "seeds_per_cell": "2", "cells": "", "tray": "tomatoes"}
    said |= {"at": "2026-03-03 08:00", "note": "late\r\nat night"}
    visitor.send("/journal/correct", entry=str(old.entry_id), **said)
    (new,) = (e for e in holding(visitor) if e.replaces == old.entry_id)
    assert new.lot_id == lot.lot_id
    assert new.data == {"crop": "tomato", "seeds_per_cell": 2}
    assert new.note == "late\nat night"
    assert new.tray_id != old.tray_id
    assert form_fields(visitor, new)["note"] == "late\nat night"
    visitor.send("/journal/correct", entry=str(new.entry_id), **form_fields(visitor, new) | {"lot": ""})
    (again,) = (e for e in holding(visitor) if e.replaces == new.entry_id)
    assert (again.lot_id, again.data["crop"]) == (None, "tomato")


@pytest.mark.parametrize(
    ("changed", "says"),
    [
        ({}, "Nothing of entry"),
        ({"litres": "much"}, "“much” is not a number"),
        ({"litres": "-1"}, "cannot be"),
        ({"litres": "nan"}, "cannot be"),
        ({"how": "sideways"}, "is not one of above, below"),
        ({"tray": "nowhere"}, "There is no tray called “nowhere”"),
        ({"at": "some day"}, "cannot be read"),
    ],
)
def test_a_correction_that_cannot_be_is_refused_where_it_was_made(
    visitor: Visitor, changed: dict[str, str], says: str
) -> None:
    before = visitor.entries()
    old = last(visitor, Kind.WATERED)
    words = visitor.send("/journal/correct", entry=str(old.entry_id), **form_fields(visitor, old) | changed)
    assert "Not written" in words
    assert says in words
    assert f"Correct entry {old.entry_id}" in words
    assert visitor.entries() == before


def test_every_kind_of_entry_has_a_form_that_changes_nothing_by_itself(visitor: Visitor) -> None:
    before = visitor.entries()
    for entry in holding(visitor):
        words = visitor.send("/journal/correct", entry=str(entry.entry_id), **form_fields(visitor, entry))
        assert f"Nothing of entry {entry.entry_id} would change" in words, entry.kind
    assert visitor.entries() == before


def test_what_holds_no_more_cannot_be_corrected(visitor: Visitor) -> None:
    entry = last(visitor, Kind.WATERED)
    visitor.send("/undo", entry=str(entry.entry_id))
    with visitor.store.read() as tx:
        undo = journal.entries(tx)[-1]
    assert undo.kind is Kind.UNDONE
    for number in (entry.entry_id, undo.entry_id):
        assert "holds no more" in visitor.words(f"/journal/correct?entry={number}", status=400)
    assert "no such entry" in visitor.words("/journal/correct?entry=9999", status=400)
    assert "no such entry" in visitor.words("/journal/correct?entry=1e3", status=400)


def test_every_deed_has_a_form_here(visitor: Visitor) -> None:
    assert set(WAYS) == set(DEEDS)
    for what in WAYS:
        text = visitor.get(f"/journal/write?what={what}")
        assert f'action="/write/{what}"' in text
        assert text.count('type="checkbox" name="tray"') == (
            0 if what in ("vented", "closed", "rained") else 3
        )
    assert "nothing called “prayed”" in visitor.words("/journal/write?what=prayed", status=400)


def test_a_tray_can_be_chosen_before(visitor: Visitor) -> None:
    text = visitor.get("/journal/write?what=sowed&tray=peppers")
    assert re.findall(r'name="tray" value="(\w+)" checked', text) == ["peppers"]


def test_hostile_names_and_long_notes_are_shown_as_text(visitor: Visitor) -> None:
    with visitor.store.write() as tx:
        tx.exec_driver_sql("UPDATE tray SET name = ? WHERE name = 'lettuce'", ('"><img src=x>/',))
    visitor.face.answers.written()
    visitor.send("/write/note", back="/journal", tray='"><img src=x>/', note=HOSTILE)
    number = last(visitor, Kind.NOTED).entry_id
    for path in ("/journal", "/journal/write?what=note", f"/journal/correct?entry={number}"):
        text = visitor.get(path)
        assert "<script>alert" not in text, path
        assert "<img src=x" not in text, path
    assert HOSTILE.strip() in unescape(visitor.get("/journal"))


def form_fields(visitor: Visitor, entry: Entry) -> dict[str, str]:
    """What the form to correct an entry would send if nothing were touched."""
    text = visitor.get(f"/journal/correct?entry={entry.entry_id}")
    form = text[text.index('action="/journal/correct"') :]
    form = form[: form.index("</form>")]
    fields = dict(re.findall(r'<input name="(\w+)" value="([^"]*)"', form))
    for name, options in re.findall(r'<select name="(\w+)">(.*?)</select>', form, re.S):
        chosen = re.search(r'<option(?: value="([^"]*)")? selected>([^<]*)', options)
        first = re.search(r'<option(?: value="([^"]*)")?>([^<]*)', options)
        found = chosen or first
        assert found is not None
        fields[name] = found[2] if found[1] is None else found[1]
    for name, words in re.findall(r'<textarea name="(\w+)"[^>]*>\n?(.*?)</textarea>', form, re.S):
        fields[name] = words
    return {name: unescape(words) for name, words in fields.items()}
