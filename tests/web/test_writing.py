"""Every deed of a grower, sent from a form, stands in the journal as the command would write it."""

from typing import Any

import pytest

from tests.services.little_garden import NOW_MS
from tests.web.conftest import Visitor
from traywarden.domain.journal import Kind
from traywarden.web.writing import DEEDS

HOUR_MS = 3_600_000
DONE: dict[str, tuple[dict[str, Any], Kind, dict[str, Any]]] = {
    "sowed": (
        {"tray": "lettuce", "crop": "lettuce", "seeds_per_cell": "2", "depth_mm": "3,5"},
        Kind.SOWED,
        {"crop": "lettuce", "cells": 40, "seeds_per_cell": 2.0, "depth_mm": 3.5},
    ),
    "watered": (
        {"tray": "lettuce", "how": "below", "litres": "0.5"},
        Kind.WATERED,
        {"how": "below", "litres": 0.5},
    ),
    "moved": ({"tray": "lettuce", "to": "Shade"}, Kind.MOVED, {}),
    "emerged": (
        {"tray": "lettuce", "count": "12", "filled": "9"},
        Kind.EMERGED,
        {"count": 12, "filled_cells": 9},
    ),
    "potted-up": ({"tray": "lettuce", "count": "8"}, Kind.POTTED_UP, {"count": 8}),
    "planted-out": ({"tray": "lettuce", "count": "8"}, Kind.PLANTED_OUT, {"count": 8}),
    "weighed": ({"tray": "lettuce", "grams": "5200"}, Kind.WEIGHED, {"grams": 5200.0}),
    "levelled": ({"tray": "lettuce"}, Kind.LEVELLED, {}),
    "vented": ({"place": "Cold frame"}, Kind.VENTED, {}),
    "closed": ({"place": "Cold frame"}, Kind.CLOSED, {}),
    "rained": ({"mm": "6"}, Kind.RAINED, {"mm": 6.0}),
    "note": ({"tray": "lettuce", "note": "slugs"}, Kind.NOTED, {}),
}


@pytest.mark.parametrize("what", DEEDS)
def test_a_deed_is_written_as_sent(visitor: Visitor, what: str) -> None:
    fields, kind, data = DONE[what]
    known = {entry.entry_id for entry in visitor.entries()}
    words = visitor.send(f"/write/{what}", **{"at": "2 h ago", **fields})
    assert "Written down" in words
    (entry,) = (e for e in visitor.entries() if e.entry_id not in known)
    assert (entry.kind, dict(entry.data), entry.at_ms) == (kind, data, NOW_MS - 2 * HOUR_MS)
    assert entry.note == fields.get("note", "")


def test_several_trays_are_written_together_and_taken_back_together(visitor: Visitor) -> None:
    before = len(visitor.entries())
    visitor.send("/write/watered", tray=["lettuce", "peppers", "lettuce"])
    numbers = [str(e.entry_id) for e in visitor.entries() if e.at_ms == NOW_MS]
    assert len(numbers) == 2
    visitor.send("/undo", entry=numbers)
    assert len(visitor.entries()) == before


@pytest.mark.parametrize(
    ("what", "fields", "says"),
    [
        ("watered", {}, "Choose a tray first."),
        ("watered", {"tray": "letuce"}, "did you mean “lettuce”"),
        ("watered", {"tray": ["lettuce", "nowhere"]}, "There is no tray called “nowhere”"),
        ("watered", {"tray": "lettuce", "litres": "much"}, "“much” is not a number"),
        ("watered", {"tray": "lettuce", "at": "tomorrow"}, "The time “tomorrow” cannot be read"),
        ("watered", {"tray": "lettuce", "how": "sideways"}, "from above or from below"),
        ("emerged", {"tray": "lettuce", "count": "2.5"}, "is not a whole number"),
        ("emerged", {"tray": "lettuce", "count": "inf"}, "inf is not a whole number"),
        ("emerged", {"tray": "lettuce", "count": "nan"}, "nan is not a whole number"),
        ("weighed", {"tray": "lettuce", "grams": "1e999"}, "cannot be"),
        ("emerged", {"tray": "lettuce", "count": "-3"}, "count"),
        ("weighed", {"tray": "lettuce"}, "how many grams"),
        ("note", {"tray": "lettuce"}, "A note needs words"),
        ("sowed", {"tray": "lettuce"}, "Say what was sown"),
        ("moved", {"tray": "lettuce", "to": "Moon"}, "There is no place called “Moon”"),
    ],
)
def test_what_cannot_be_meant_is_refused_in_one_sentence(
    visitor: Visitor, what: str, fields: dict[str, Any], says: str
) -> None:
    before = len(visitor.entries())
    words = visitor.send(f"/write/{what}", **fields)
    assert "Not written" in words
    assert says in words
    assert len(visitor.entries()) == before


def test_loading_the_page_after_a_deed_writes_nothing_twice(visitor: Visitor) -> None:
    answer = visitor.post("/write/watered", form_token=visitor.token(), back="/", tray="lettuce")
    assert answer.status_code == 303
    before = len(visitor.entries())
    for _ in range(2):
        assert "Written down" in visitor.words(answer.headers["location"])
    assert len(visitor.entries()) == before
