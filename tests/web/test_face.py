"""What pages stand on: the journal is read anew when it has grown, and only then."""

from tests.services.little_garden import NOW_MS
from tests.web.conftest import Visitor
from traywarden.domain.journal import Kind
from traywarden.store import journal
from traywarden.store.store import Store


def test_what_another_program_wrote_holds_at_once(visitor: Visitor) -> None:
    with visitor.face.asking() as on:
        tray_id = next(iter(on.trays))
        before = on.place_of(tray_id, NOW_MS)
        other = next(p for p in on.places.values() if before is None or p.place_id != before.place_id)
    with Store.open(visitor.store.url) as store, store.write() as tx:
        journal.write(tx, Kind.MOVED, NOW_MS - 1, NOW_MS, tray_id=tray_id, place_id=other.place_id)
    with visitor.face.asking() as on:
        assert on.place_of(tray_id, NOW_MS) == other


def test_an_unchanged_journal_is_not_read_again(visitor: Visitor) -> None:
    with visitor.face.asking() as on:
        first = on.facts
    with visitor.face.asking() as on, visitor.store.read() as fresh:
        assert on.facts is first
        assert journal.entries(on.tx) == journal.entries(fresh)
