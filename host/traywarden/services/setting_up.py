"""Setting up a garden: a tray that is filled and stands somewhere, a head in it; words into numbers."""

import re
from dataclasses import dataclass

from traywarden.domain.garden import Head, Mix, Place, Tray
from traywarden.domain.journal import Entry, Kind
from traywarden.errors import UnknownNameError, UsageError
from traywarden.services.journal import Draft, put
from traywarden.store import garden as garden_store
from traywarden.store import journal as journal_store
from traywarden.store import probes as probe_store
from traywarden.store.store import Tx


@dataclass(frozen=True, slots=True)
class TrayMade:
    tray: Tray
    mix: Mix
    place: Place
    entries: tuple[Entry, ...]


def make_tray(
    tx: Tx,
    name: str,
    mix: str,
    place: str,
    *,
    cells: int | None,
    litres: float | None,
    note: str,
    at_ms: int,
    now_ms: int,
) -> TrayMade:
    """A new tray, filled with a mix and standing in a place since `at_ms`."""
    of, where = garden_store.mix_named(tx, mix), garden_store.place_named(tx, place)
    tray = garden_store.add_tray(tx, name, cells, litres, note)
    filled = Draft(Kind.FILLED, at_ms, tray_id=tray.tray_id, mix_id=of.mix_id)
    moved = Draft(Kind.MOVED, at_ms, tray_id=tray.tray_id, place_id=where.place_id)
    return TrayMade(tray, of, where, tuple(put(tx, draft, now_ms) for draft in (filled, moved)))


@dataclass(frozen=True, slots=True)
class HeadPut:
    """A head put into a tray or hung in a place. `homeless`: where the tray stood then is not known, so its
    readings count for no place and no mix until that is written down.
    """

    head: Head
    tray: Tray | None
    place: Place | None
    entry: Entry
    homeless: bool


def put_head(
    tx: Tx, label: str, *, tray: str, place: str, end: str, note: str, at_ms: int, now_ms: int
) -> HeadPut:
    """A head is in a tray, or hangs in a place, since `at_ms`."""
    head = head_named(tx, label)
    into = garden_store.tray_named(tx, tray) if tray else None
    hung = garden_store.place_named(tx, place) if place else None
    draft = Draft(
        Kind.HEAD_PLACED,
        at_ms,
        head_id=head.head_id,
        tray_id=into.tray_id if into else None,
        place_id=hung.place_id if hung else None,
        data={"end": end.strip() or None},
        note=note,
    )
    entry = put(tx, draft, now_ms)
    homeless = into is not None and journal_store.facts(tx).place_of_tray(into.tray_id, at_ms) is None
    return HeadPut(head, into, hung, entry, homeless)


def head_named(tx: Tx, label: str) -> Head:
    """The head of that label; where none has reported yet, the error says so."""
    try:
        return probe_store.head_labelled(tx, label)
    except UnknownNameError as error:
        if not error.known:
            raise UsageError(
                f"No probe has reported yet, so “{label}” cannot be placed; once it has, it shows in: "
                "traywarden probe list"
            ) from None
        raise


def parts_from_text(text: str) -> dict[str, float]:
    """“perlite 2, compost 1, coir” as shares by volume; a part without a number counts 1."""
    parts: dict[str, float] = {}
    for piece in (p.strip() for p in text.split(",")):
        if not piece:
            continue
        number = re.fullmatch(r"(?P<name>.*?)[\s:=]*(?P<share>\d+(?:\.\d+)?)", piece) or re.fullmatch(
            r"(?P<share>\d+(?:\.\d+)?)\s*(?:parts?\s+)?(?:of\s+)?(?P<name>.+)", piece
        )
        name = (number["name"] if number else piece).strip()
        if not name or re.search(r"\d", name):
            raise UsageError(f"The part “{piece}” cannot be read; write parts like “perlite 2, compost 1”.")
        if name in parts:
            raise UsageError(f"The part “{name}” is there twice; write it once.")
        parts[name] = float(number["share"]) if number else 1.0
    if not parts:
        raise UsageError("A mix needs at least one part; write parts like “perlite 2, compost 1, coir 1”.")
    return parts
