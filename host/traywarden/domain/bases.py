"""Which trays stood together in one base tray, and at which end, at any instant."""

from collections.abc import Iterable
from dataclasses import dataclass

from traywarden.domain.journal import Entry, Facts, Kind


@dataclass(frozen=True, slots=True)
class BaseStay:
    """A tray stood on a shared base from start_ms (inclusive) to end_ms (exclusive; None: still does).

    `row` is its place from one end of the base to the other; `end` says which end it stands at, or is empty.
    """

    tray_id: int
    base: str
    row: int
    end: str
    start_ms: int
    end_ms: int | None

    def holds_at(self, at_ms: int) -> bool:
        return self.start_ms <= at_ms and (self.end_ms is None or at_ms < self.end_ms)


def base_stays(entries: Iterable[Entry]) -> list[BaseStay]:
    """Stays of trays on shared bases.

    Parameters
    ----------
    entries : journal entries that hold, oldest instant first

    Returns
    -------
    list of BaseStay, by tray and instant

    Notes
    -----
    A stay ends when the tray is put on another base or alone, or when it is moved to another place: whether a
    base stands level is a matter of the spot it stands on, so after a move it must be said anew.

    Examples
    --------
    >>> put = Entry(1, 0, 0, Kind.ON_BASE, tray_id=7, data={"base": "long", "row": 1, "end": "east"})
    >>> moved = Entry(2, 500, 500, Kind.MOVED, tray_id=7, place_id=1)
    >>> [(s.base, s.end, s.end_ms) for s in base_stays([put, moved])]
    [('long', 'east', 500)]
    """
    found: list[BaseStay] = []
    open_at: dict[int, BaseStay] = {}
    for entry in entries:
        if entry.tray_id is None or entry.kind not in (Kind.ON_BASE, Kind.MOVED):
            continue
        before = open_at.pop(entry.tray_id, None)
        if before is not None and before.start_ms < entry.at_ms:
            found.append(
                BaseStay(before.tray_id, before.base, before.row, before.end, before.start_ms, entry.at_ms)
            )
        base = entry.data.get("base") if entry.kind is Kind.ON_BASE else None
        if base:
            row, end = int(entry.data.get("row", 0)), str(entry.data.get("end", ""))
            open_at[entry.tray_id] = BaseStay(entry.tray_id, str(base), row, end, entry.at_ms, None)
        elif before is not None and before.start_ms == entry.at_ms and entry.kind is Kind.MOVED:
            open_at[entry.tray_id] = before  # moved there and put on its base in one go
    return sorted([*found, *open_at.values()], key=lambda s: (s.tray_id, s.start_ms))


def base_of_tray(facts: Facts, tray_id: int, at_ms: int) -> BaseStay | None:
    """The base a tray stands on at an instant, if any.

    Parameters
    ----------
    facts : of the journal
    tray_id : int
    at_ms : int [ms since 1970]

    Returns
    -------
    BaseStay or None

    Examples
    --------
    >>> base_of_tray(Facts([]), 1, 0) is None
    True
    """
    mine = (s for s in base_stays(facts.entries) if s.tray_id == tray_id and s.holds_at(at_ms))
    return next(mine, None)
