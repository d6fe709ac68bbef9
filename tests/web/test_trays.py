"""Trays at a glance and one in full: what the questions answer, and a form for everything done to a tray."""

import csv
import io
import json
import re
from dataclasses import replace
from datetime import datetime

import pytest

from tests.services.little_garden import DAY_MS, NOW_MS
from tests.web.conftest import Visitor
from tests.web.test_writing import DONE
from traywarden.domain.journal import Kind
from traywarden.services.journal import correct
from traywarden.services.questions.emergence import ask_emergence
from traywarden.services.questions.ground import Ground
from traywarden.services.questions.outlook import OutlookAnswer, ask_outlook
from traywarden.services.questions.today import ask_today
from traywarden.services.questions.tray_record import ask_tray_record
from traywarden.services.questions.waterings import ask_waterings
from traywarden.store import garden, journal
from traywarden.web.words import PageWords
from traywarden.web.writing import DEEDS

SEED = {
    "tomatoes": "Look : the first may be up",
    "lettuce": "Late : should have shown by now",
    "peppers": "the first later than can be foreseen",
}
HOSTILE = "<script>alert(1)</script>\"'><img src=x onerror=alert(2)> \u202eabc 🍅"


def _id(visitor: Visitor, name: str) -> int:
    """Not through the face: what it knows of the journal it carries on while entries are only added."""
    with visitor.store.read() as tx:
        return garden.tray_named(tx, name).tray_id


def test_every_tray_is_a_row_with_what_the_questions_answer(visitor: Visitor) -> None:
    words = visitor.words("/trays")
    with visitor.face.asking() as on:
        answer, coming = ask_today(on), {t.tray: t for t in ask_emergence(on).trays}
        w = PageWords(on.display, on.at(on.now_ms))
    for tray in answer.trays:
        row = words[words.index(f"{tray.tray} {tray.crop}") :]
        row = row[: row.index("Watered " + tray.tray)]
        assert w.percent(tray.moisture_pct) in row
        assert w.temp(tray.soil_temp_c) in row
        assert f"Watered {w.ago(tray.since_watered_s)}" in row
        assert SEED[tray.tray] in row
    assert {name: seed.state for name, seed in coming.items()} == {
        "tomatoes": "on its way",
        "lettuce": "late",
        "peppers": "on its way",
    }


def test_a_day_that_seed_is_expected_on_stands_in_its_row(visitor: Visitor) -> None:
    """Onions sown in the warm frame five days ago."""
    tray_id = _id(visitor, "tomatoes")
    (sowing,) = (e for e in visitor.entries() if e.kind is Kind.SOWED and e.tray_id == tray_id)
    with visitor.store.write() as tx:
        correct(tx, sowing.entry_id, NOW_MS, {"crop": "onion"}, at_ms=NOW_MS - 5 * DAY_MS)
    with visitor.face.asking() as on:
        [seed], w = ask_emergence(on, "tomatoes").trays, PageWords(on.display, on.at(on.now_ms))
    assert seed.done is not None
    assert seed.first is not None
    assert (
        f"{w.percent(seed.done.expected * 100)} of the way; first up about {w.day(seed.first.expected)} "
        f"({w.day(seed.first.low)} to {w.day(seed.first.high)})" in visitor.words("/trays")
    )


def test_rows_stand_by_place_or_by_what_is_dry_first(visitor: Visitor) -> None:
    text = visitor.get("/trays")
    assert re.findall(r"<h2>([^<]+)</h2>", text) == ["Cold frame", "Open bench"]
    text = visitor.get("/trays?by=water")
    with visitor.face.asking() as on:
        answer = ask_outlook(on)
        w = PageWords(on.display, on.at(on.now_ms))
    assert re.findall(r'class="name to" href="[^"]+">([^<]+)<', text) == [t.tray for t in answer.trays]
    words = visitor.words("/trays?by=water")
    for tray in answer.trays:
        assert "Water now." in words if tray.by == answer.at else f"by about {w.soon(tray.by)}" in words


def test_what_is_below_its_dry_line_stands_before_all_others_even_without_an_outlook(
    visitor: Visitor, monkeypatch: pytest.MonkeyPatch
) -> None:
    with visitor.face.asking() as on:
        [dry] = [tray.tray for tray in ask_today(on).trays if (tray.moisture_fraction or 1) < 0]

    def frozen(on: Ground, tray: str = "") -> OutlookAnswer:
        """As after a night of frost: the questions put what cannot be foreseen last."""
        answer = ask_outlook(on, tray)
        mine = [replace(t, state="no outlook", why="it is frozen") for t in answer.trays if t.tray == dry]
        return replace(answer, trays=(*(t for t in answer.trays if t.tray != dry), *mine))

    monkeypatch.setattr("traywarden.web.trays.ask_outlook", frozen)
    monkeypatch.setattr("traywarden.web.tray_answers.ask_outlook", frozen)
    text = visitor.get("/trays?by=water")
    assert re.findall(r'class="name to" href="[^"]+">([^<]+)<', text)[0] == dry
    assert "Below its dry line." in visitor.words("/trays?by=water")
    assert "Its last reading is below its dry line." in visitor.words(f"/trays/{_id(visitor, dry)}")


def test_the_picture_of_moisture_is_filled_as_far_as_the_number_beside_it_says(visitor: Visitor) -> None:
    text = visitor.get("/trays")
    with visitor.face.asking() as on:
        trays = ask_today(on).trays
    for tray in trays:
        assert tray.moisture_pct is not None
        assert tray.dry_line_pct is not None
        row = text[text.index(f">{tray.tray}</a>") :]
        water, line = (
            re.search(r'gauge-water[^>]+width="([\d.]+)"', row),
            re.search(r'gauge-line" x1="([\d.]+)"', row),
        )
        assert water is not None
        assert line is not None
        assert float(water[1]) == pytest.approx(min(tray.moisture_pct, 100), abs=0.06)
        assert float(line[1]) == pytest.approx(tray.dry_line_pct, abs=0.06)


def test_rows_and_the_page_now_lead_to_the_tray_by_its_number(visitor: Visitor) -> None:
    for path in ("/trays", "/trays?by=water", "/"):
        for name in ("tomatoes", "lettuce", "peppers"):
            assert f'href="/trays/{_id(visitor, name)}"' in visitor.get(path)
    assert "lettuce" in visitor.words(f"/trays/{_id(visitor, 'lettuce')}")


@pytest.mark.parametrize(
    "path", ["/trays/99", "/trays/lettuce", "/trays/-1", "/trays/²", "/trays/9" + "9" * 40]
)
def test_there_is_no_page_of_a_tray_that_is_not_there(visitor: Visitor, path: str) -> None:
    assert "There is no such page here." in visitor.words(path, status=404)


@pytest.mark.parametrize("name", ["tomatoes", "lettuce", "peppers"])
def test_a_trays_page_says_what_the_questions_say(visitor: Visitor, name: str) -> None:
    words = visitor.words(f"/trays/{_id(visitor, name)}?days=14")
    with visitor.face.asking() as on:
        w = PageWords(on.display, on.at(on.now_ms))
        [now], [seed] = ask_today(on, name).trays, ask_emergence(on, name).trays
        [outlook], [watered] = ask_outlook(on, name).trays, ask_waterings(on, name, 14).trays
    assert f"Water {w.percent(now.moisture_pct)}" in words
    assert f"Soil {w.temp(now.soil_temp_c)}" in words
    assert w.sentence(seed.says) in words
    for why in seed.causes:
        assert why.verdict == "no" or w.sentence(why.says) in words
    if outlook.state == "dries":
        assert f"between {w.soon(outlook.earliest)} and {w.soon(outlook.latest)}" in words
        assert w.sentence(outlook.rests_on) in words
    else:
        assert "It is at its dry line now." in words
    assert watered.events
    for event in watered.events:
        assert f"{w.clock(event.at)} {event.kind}" in words
        assert f"+{w.percent(event.rise_pct)}" in words


def test_what_is_asked_of_one_tray_is_what_is_asked_of_all(visitor: Visitor) -> None:
    with visitor.face.asking() as on:
        every, one = ask_today(on), ask_today(on, "lettuce")
    assert one.trays == tuple(t for t in every.trays if t.tray == "lettuce")
    assert one.needs == tuple(n for n in every.needs if n.tray == "lettuce")
    assert one.soon == tuple(s for s in every.soon if s.tray == "lettuce")
    assert one.seed == tuple(s for s in every.seed if s.tray == "lettuce")


def test_late_seed_is_told_with_what_may_have_held_it_up_and_what_has_not(visitor: Visitor) -> None:
    words = visitor.words(f"/trays/{_id(visitor, 'lettuce')}")
    with visitor.face.asking() as on:
        [seed] = ask_emergence(on, "lettuce").trays
        w = PageWords(on.display, on.at(on.now_ms))
    assert "Lettuce is late" in words
    assert {why.verdict for why in seed.causes} >= {"no", "possible"}
    for why in seed.causes:
        told = f"{w.sentence(why.cause + ': ' + why.verdict)} {w.sentence(why.says)}"
        assert (told in words) == (why.verdict != "no")
    assert "No sign of: cold, heat" in words


@pytest.mark.parametrize("days", [3, 7, 14, 30, 90])
def test_the_span_is_chosen_by_a_plain_link(visitor: Visitor, days: int) -> None:
    number = _id(visitor, "peppers")
    text = visitor.get(f"/trays/{number}")
    assert f'href="/trays/{number}?days={days}"' in text
    text = visitor.get(f"/trays/{number}?days={days}")
    assert f"The last {days} days" in text
    assert f"days={days}&amp;as-of=" in text
    assert re.search(rf'days={days}" aria-current="true"', text)


@pytest.mark.parametrize("days", ["", "0", "-3", "8", "1e3", "²", "<b>"])
def test_another_span_is_the_usual_one(visitor: Visitor, days: str) -> None:
    assert "The last 7 days" in visitor.words(f"/trays/{_id(visitor, 'peppers')}?days={days}")


@pytest.mark.parametrize("what", [deed for deed in DEEDS if deed not in ("vented", "closed", "rained")])
def test_every_deed_on_a_tray_is_a_form_of_its_page(visitor: Visitor, what: str) -> None:
    number = _id(visitor, "lettuce")
    text = visitor.get(f"/trays/{number}")
    forms = re.findall(rf'<form method="post" action="/write/{what}".*?</form>', text, flags=re.DOTALL)
    assert forms
    fields, kind, data = DONE[what]
    offered = {name for form in forms for name in re.findall(r'name="(\w+)"', form)}
    assert offered >= {"form_token", "back", "tray", "at", *fields}
    words = visitor.send(f"/write/{what}", back=f"/trays/{number}?days=14", **fields)
    assert "Written down" in words
    assert "The last 14 days" in words, "it comes back to the page as it was"
    entry = visitor.entries()[-1]
    assert (entry.kind, dict(entry.data)) == (kind, data)


def test_watering_says_how_in_one_tap(visitor: Visitor) -> None:
    text = visitor.get(f"/trays/{_id(visitor, 'lettuce')}")
    for how in ("above", "below"):
        form = re.search(
            rf'<form method="post" action="/write/watered">(?:(?!</form>).)*value="{how}".*?</form>',
            text,
            re.DOTALL,
        )
        assert form is not None
        assert f"Watered from {how}" in form[0]
        assert '<input type="hidden"' in form[0]
        assert not re.search(r'<input (?!type="hidden")', form[0]), "nothing is left to fill in"


def test_the_journal_is_on_the_page_newest_first_and_can_be_taken_back(visitor: Visitor) -> None:
    number = _id(visitor, "lettuce")
    visitor.send("/write/note", tray="lettuce", note="slugs & snails", at="2 h ago")
    visitor.send("/write/watered", tray="lettuce", how="above")
    text = visitor.get(f"/trays/{number}")
    part = text[text.index("<h2>Journal</h2>") :]
    assert part.index("watered from above") < part.index("slugs &amp; snails") < part.index("sowed Lettuce")
    entry = re.search(r'name="entry" value="(\d+)"', part)
    assert entry is not None
    visitor.send("/undo", back=f"/trays/{number}", entry=entry[1])
    part = visitor.words(f"/trays/{number}").split("Journal")[-1]
    assert "watered" not in part
    assert "slugs & snails" in part


def test_the_chart_is_a_picture_a_specification_and_a_table(visitor: Visitor) -> None:
    number = _id(visitor, "tomatoes")
    where = f"tray={number}&days=14"
    with visitor.face.asking() as on:
        record = ask_tray_record(on, "tomatoes", 14)
    assert visitor.get(f"/charts/tray.svg?{where}").startswith("<svg")
    spec = json.loads(visitor.get(f"/charts/tray.json?{where}"))
    assert [row["value"] for row in spec["datasets"]["moisture"]] == [
        point.value for line in record.moisture for part in line.stretches for point in part
    ]
    rows = list(csv.DictReader(io.StringIO(visitor.get(f"/charts/tray.csv?{where}"))))
    assert [float(r["value"]) for r in rows if r["what"] == "soil temperature"] == [
        point.value for line in record.soil for part in line.stretches for point in part
    ]
    assert [r["of"] for r in rows if r["what"] == "watering"] == [e.kind for e in record.waterings]
    assert [datetime.fromisoformat(r["when"]) for r in rows] == sorted(
        datetime.fromisoformat(r["when"]) for r in rows
    )
    assert record.says in visitor.words(f"/charts/tray.html?{where}")


@pytest.mark.parametrize("where", ["", "tray=99", "tray=1&days=x", "tray=1&days=0", "tray=1&days=99999"])
def test_a_chart_that_cannot_be_drawn_says_why(visitor: Visitor, where: str) -> None:
    answer = visitor.client.get(f"/charts/tray.json?{where}")
    assert answer.status_code == 400
    assert "Not done" in answer.text


def test_the_chart_is_another_once_something_was_written(visitor: Visitor) -> None:
    """So that a page that renews itself keeps the chart that is drawn until there is something to add."""
    number = _id(visitor, "lettuce")

    def address() -> str:
        found = re.search(r'data-chart="([^"]+)"', visitor.get(f"/trays/{number}"))
        assert found is not None
        return found[1]

    before = address()
    assert address() == before
    visitor.send("/write/note", tray="lettuce", note="slugs")
    assert address() != before


def test_before_the_first_reading_trays_can_be_opened_and_written_of(visitor: Visitor) -> None:
    with visitor.store.write() as tx:
        tx.exec_driver_sql("DELETE FROM reading")
    number = _id(visitor, "lettuce")
    assert "There are no readings yet" in visitor.words("/trays")
    assert f'href="/trays/{number}"' in visitor.get("/trays")
    words = visitor.words(f"/trays/{number}")
    assert "There are no readings yet" in words
    assert "Watered from above" in words
    assert "Written down" in visitor.send("/write/watered", back=f"/trays/{number}", tray="lettuce")


def test_a_tray_nobody_sowed_filled_or_placed_has_a_page(visitor: Visitor) -> None:
    with visitor.store.write() as tx:
        number = garden.add_tray(tx, "new", 40, 3.0).tray_id
    words = visitor.words(f"/trays/{number}")
    assert "In no place · nothing sown" in words
    assert "Nothing is written down of it yet." in words
    assert "In no place" in visitor.words("/trays")


def test_hostile_names_and_notes_are_shown_as_text(visitor: Visitor) -> None:
    number = _id(visitor, "lettuce")
    with visitor.store.write() as tx:
        tx.exec_driver_sql("UPDATE tray SET name = ?, note = ? WHERE tray_id = ?", (HOSTILE, HOSTILE, number))
        journal.write(tx, Kind.NOTED, NOW_MS, NOW_MS, tray_id=number, note=HOSTILE + "x" * 10_000)
    for path in ("/trays", "/trays?by=water", f"/trays/{number}"):
        text = visitor.get(path)
        assert "<script>alert" not in text
        assert "<img src=x" not in text
        assert "&lt;script&gt;alert(1)&lt;/script&gt;" in text
    drawn = visitor.get(f"/charts/tray.svg?tray={number}&days=7")
    assert "<script" not in drawn
    assert "<img" not in drawn
    assert "Written down" in visitor.send("/write/watered", back=f"/trays/{number}", tray=HOSTILE)
