"""The journal by the page, newest first: of one tray or kind, with or without what no longer holds."""

from collections.abc import Collection
from dataclasses import dataclass
from zoneinfo import ZoneInfo

from traywarden.domain.journal import Entry, Kind, replacements
from traywarden.domain.units import Display
from traywarden.errors import UsageError
from traywarden.services.journal_words import EntryLine, entry_lines
from traywarden.store import journal as journal_store
from traywarden.store.store import Tx

PER_PAGE = 30


@dataclass(frozen=True, slots=True)
class Sought:
    """Which entries; `everything` also those that were replaced or taken back."""

    tray_id: int | None = None
    kind: Kind | None = None
    everything: bool = False


@dataclass(frozen=True, slots=True)
class JournalPage:
    """Page `page` of `pages`, numbered from 1; `total` entries on all of them."""

    lines: tuple[EntryLine, ...]
    page: int
    pages: int
    total: int


def journal_page(
    tx: Tx, zone: ZoneInfo, display: Display, sought: Sought | None = None, page: int = 1
) -> JournalPage:
    """A page of the journal, newest first. A page beyond the last is the last."""
    entries = journal_store.entries(tx)
    found = sought_entries(entries, sought or Sought())
    pages = max(-(-len(found) // PER_PAGE), 1)
    page = min(max(page, 1), pages)
    found.reverse()
    shown = found[(page - 1) * PER_PAGE : page * PER_PAGE]
    lines = entry_lines(tx, shown, replacements(entries), zone, display)
    return JournalPage(tuple(lines), page, pages, len(found))


def sought_entries(entries: Collection[Entry], sought: Sought) -> list[Entry]:
    """The entries sought, oldest first. An undo is of the tray and the kind of what it took back."""
    by = replacements(entries)
    kept = [e for e in entries if sought.everything or (e.entry_id not in by and e.kind is not Kind.UNDONE)]
    if sought.tray_id is not None:
        of_tray = {e.entry_id for e in entries if e.tray_id == sought.tray_id}
        kept = [e for e in kept if e.entry_id in of_tray or e.replaces in of_tray]
    if sought.kind is not None:
        of_kind = {e.entry_id for e in entries if e.kind is sought.kind}
        kept = [e for e in kept if e.entry_id in of_kind or e.replaces in of_kind]
    return sorted(kept, key=lambda e: (e.at_ms, e.entry_id))


def kind_named(words: str) -> Kind | None:
    """The kind of that name; None for none. Raises UsageError where there is no such kind."""
    if not words:
        return None
    try:
        return Kind(words.strip().lower().replace("-", " "))
    except ValueError:
        known = ", ".join(kind.value for kind in Kind)
        raise UsageError(f"There is no kind of entry called “{words}”; there are {known}.") from None
