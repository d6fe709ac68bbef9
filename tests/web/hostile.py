"""A garden whose every name and note could break a page: marks, right to left, emoji, quotes, slashes, 10,000
characters.
"""

from pathlib import Path

from sqlalchemy import update

from tests.services.little_garden import NOW_MS
from traywarden.domain.journal import Kind
from traywarden.settings import load
from traywarden.store import garden as garden_store
from traywarden.store import journal, schema
from traywarden.store.store import Store, Tx

MARKS = "<b class=hostile>“bold”</b><script>hostile()</script>&amp; 'q'\""
RIGHT_TO_LEFT = (
    "\u202e\u05e2\u05d2\u05d1\u05e0\u05d9 \u0637\u0645\u0627\u0637\u0645 <img src=x class=hostile>"
)
SIGNS = "🍅🌱/🥬?#%20;../{{ 7*7 }}--'; DROP TABLE tray"
NO_BREAK = "W" * 80
NAMES = (MARKS, RIGHT_TO_LEFT, SIGNS, NO_BREAK)
NOTE = "<i class=hostile>slug</i> \u202e\"'/🍅 " + "s" * 10_000
ASKED = "<i class=hostile>?</i>"
"""What an address asks for that is none of the garden's."""


def made_hostile(home: Path) -> None:
    """Rename everything in the little garden of that home, and write notes to all that can have one."""
    with Store.open(load(home, environ={}).store_url) as store, store.write() as tx:
        _renamed(tx)
        place = garden_store.add_place(tx, MARKS[:78] + "!", "greenhouse", note=NOTE)
        for crop, name in (("tomato", MARKS), ("lettuce", NO_BREAK)):
            garden_store.add_lot(tx, name, crop, 0.8, True, 100, 2.5, NOTE)
        for n, name in enumerate(NAMES):
            tray = garden_store.add_tray(tx, f"{n}{name}"[:80], 40, 3.0, note=NOTE)
            journal.write(tx, Kind.MOVED, NOW_MS, NOW_MS, tray_id=tray.tray_id, place_id=place.place_id)
        first = garden_store.trays(tx)[0]
        for n, kind in enumerate((Kind.NOTED, Kind.WATERED)):
            at_ms = NOW_MS - (n + 1) * 3_600_000
            journal.write(tx, kind, at_ms, at_ms, tray_id=first.tray_id, note=NOTE)
        journal.write(tx, Kind.EMERGED, NOW_MS, NOW_MS, tray_id=first.tray_id, data={"count": 3}, note=NOTE)
        frame = garden_store.places(tx)[0]
        journal.write(tx, Kind.VENTED, NOW_MS, NOW_MS, place_id=frame.place_id, note=NOTE)
    (home / "settings.toml").write_text(
        '[[channel]]\nname = "<b class=hostile>c</b>"\nurl = "json://localhost:9/<b class=hostile>"\n',
        encoding="utf-8",
    )


def _renamed(tx: Tx) -> None:
    tx.execute(update(schema.garden).values(name=MARKS))
    for table, key in ((schema.place, "place_id"), (schema.tray, "tray_id"), (schema.mix, "mix_id")):
        for number, name in zip((1, 2, 3), NAMES[1:], strict=True):
            tx.execute(update(table).where(table.c[key] == number).values(name=name, note=NOTE))
    tx.execute(
        update(schema.mix)
        .where(schema.mix.c.mix_id == 1)
        .values(name=MARKS, parts={MARKS[:60]: 3, NO_BREAK[:60]: 1})
    )
