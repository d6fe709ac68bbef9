"""From another program: an entry corrected, a lot tested, a capacity accepted, a head placed."""

from typing import Any

import pytest
from httpx2 import Response

from tests.services.little_garden import NOW_MS
from tests.web.conftest import Visitor
from traywarden.domain.journal import Entry, Kind
from traywarden.services.journal import Draft, put
from traywarden.services.tokens import make_token
from traywarden.store import garden
from traywarden.store import journal as journal_store
from traywarden.store import probes as probe_store


@pytest.fixture
def key(visitor: Visitor) -> dict[str, str]:
    with visitor.store.write() as tx:
        garden.add_lot(tx, "Roma", "tomato")
        made = make_token(tx, "display", NOW_MS, writes=True)
    return {"authorization": f"Bearer {made.secret}"}


def post(visitor: Visitor, key: dict[str, str], path: str, **body: Any) -> Response:
    return visitor.client.post(f"/api/v1{path}", json=body, headers=key)


def newest(visitor: Visitor) -> Entry:
    with visitor.store.read() as tx:
        return journal_store.entries(tx)[-1]


def counted(visitor: Visitor) -> Entry:
    with visitor.store.write() as tx:
        tray_id = garden.tray_named(tx, "lettuce").tray_id
        return put(tx, Draft(Kind.EMERGED, NOW_MS, tray_id=tray_id, data={"count": 12}, note="x"), NOW_MS)


def test_an_entry_is_corrected_in_what_is_said_alone(visitor: Visitor, key: dict[str, str]) -> None:
    entry = counted(visitor)
    answer = post(visitor, key, f"/journal/{entry.entry_id}/correct", count=20, learn=False, note=None)
    assert answer.status_code == 201, answer.text
    made = newest(visitor)
    assert answer.json()["entries"][0]["entry"] == made.entry_id
    assert (made.replaces, dict(made.data), made.note) == (entry.entry_id, {"count": 20, "learn": False}, "")
    assert (made.at_ms, made.tray_id) == (entry.at_ms, entry.tray_id)
    moved = post(visitor, key, f"/journal/{made.entry_id}/correct", tray="tomatoes", at="3 h ago")
    assert moved.status_code == 201, moved.text
    assert newest(visitor).at_ms == NOW_MS - 3 * 3_600_000


@pytest.mark.parametrize(
    ("body", "status", "says"),
    [
        ({}, 400, "Nothing of entry"),
        ({"grams": 5}, 400, "has no “grams” to correct"),
        ({"count": 10**7}, 422, "count"),
        ({"count": "9"}, 422, "count"),
        ({"tray": "nowhere"}, 404, "There is no tray"),
        ({"colour": "red"}, 422, "colour"),
    ],
)
def test_what_cannot_be_corrected_is_refused(
    visitor: Visitor, key: dict[str, str], body: dict[str, Any], status: int, says: str
) -> None:
    entry = counted(visitor)
    answer = post(visitor, key, f"/journal/{entry.entry_id}/correct", **body)
    assert answer.status_code == status, answer.text
    assert says in answer.json()["detail"]
    assert newest(visitor) == entry
    assert post(visitor, key, "/journal/9999/correct", note="x").status_code == 400


def test_a_lot_is_tested(visitor: Visitor, key: dict[str, str]) -> None:
    answer = post(visitor, key, "/lots/test", lot="Roma", seeds=50, sprouted=44, days=8, at="yesterday 9:00")
    assert answer.status_code == 201, answer.text
    made = newest(visitor)
    assert (made.kind, dict(made.data)) == (Kind.TESTED, {"seeds": 50, "sprouted": 44, "days": 8.0})
    refused = post(visitor, key, "/lots/test", lot="Roma", seeds=5, sprouted=44)
    assert (refused.status_code, newest(visitor)) == (400, made)
    assert post(visitor, key, "/lots/test", lot="Romo", seeds=5, sprouted=4).status_code == 404


def test_a_capacity_is_accepted_for_a_mix_or_one_tray(visitor: Visitor, key: dict[str, str]) -> None:
    answer = post(visitor, key, "/mixes/accept", mix="Peat mix", tray="lettuce", value=0.5)
    assert answer.status_code == 201, answer.text
    made = newest(visitor)
    assert (made.kind, made.data["container_capacity_m3_m3"]) == (Kind.CAPACITY_ACCEPTED, 0.5)
    with visitor.store.read() as tx:
        assert made.tray_id == garden.tray_named(tx, "lettuce").tray_id
    assert post(visitor, key, "/mixes/accept", mix="Peat mix", value=1.5).status_code == 422
    assert newest(visitor) == made


def test_a_head_is_placed(visitor: Visitor, key: dict[str, str]) -> None:
    with visitor.store.read() as tx:
        heads = probe_store.heads(tx)
        tray_of = journal_store.facts(tx).tray_of_head
        head = next(h for h in heads if tray_of(h.head_id, NOW_MS) is not None)
        lettuce = garden.tray_named(tx, "lettuce").tray_id
        target = "peppers" if tray_of(head.head_id, NOW_MS) == lettuce else "lettuce"
    answer = post(visitor, key, "/probes/place", head=head.label, tray=target, end="north", at="1 h ago")
    assert answer.status_code == 201, answer.text
    made = newest(visitor)
    assert (made.kind, made.head_id, made.data["end"]) == (Kind.HEAD_PLACED, head.head_id, "north")
    both = post(visitor, key, "/probes/place", head=head.label, tray="peppers", place="Cold frame")
    assert both.status_code == 400
    assert post(visitor, key, "/probes/place", head="nothing/1", tray=target).status_code in (400, 404)
