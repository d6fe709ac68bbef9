"""The journal as a person reads it: names, the garden's time, what holds and what does not."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any
from zoneinfo import ZoneInfo

from traywarden.domain.journal import Entry, Kind, calibration_points
from traywarden.domain.units import Display
from traywarden.services.moments import moment_words
from traywarden.store import garden as garden_store
from traywarden.store import probes as probe_store
from traywarden.store.crops import load_crops
from traywarden.store.store import Tx

HOW_WORDS = {"above": "from above", "below": "from below"}


@dataclass(frozen=True, slots=True)
class EntryLine:
    """One entry with everything named. `state` is “holds”, “replaced by 7” or “undone by 7”."""

    entry: int
    at: str
    at_ms: int
    kind: str
    says: str
    state: str
    tray: str | None
    place: str | None
    mix: str | None
    head: str | None
    lot: str | None
    data: Mapping[str, Any]
    note: str
    replaces: int | None


class Names:
    """The names behind the numbers that entries hold."""

    def __init__(self, tx: Tx) -> None:
        self.trays = {t.tray_id: t.name for t in garden_store.trays(tx)}
        self.places = {p.place_id: p.name for p in garden_store.places(tx)}
        self.mixes = {m.mix_id: m.name for m in garden_store.mixes(tx)}
        self.lots = {lot.lot_id: lot.name for lot in garden_store.lots(tx)}
        self.heads = {h.head_id: h.label for h in probe_store.heads(tx)}


def entry_lines(
    tx: Tx, entries: Sequence[Entry], by: Mapping[int, Entry], zone: ZoneInfo, display: Display
) -> list[EntryLine]:
    """Entries with their names and words, in the order given."""
    names = Names(tx)
    return [_line(entry, by.get(entry.entry_id), names, zone, display) for entry in entries]


def _line(entry: Entry, by: Entry | None, names: Names, zone: ZoneInfo, display: Display) -> EntryLine:
    state = "holds"
    if by is not None:
        state = f"{'undone' if by.kind is Kind.UNDONE else 'replaced'} by {by.entry_id}"
    return EntryLine(
        entry=entry.entry_id,
        at=moment_words(entry.at_ms, zone),
        at_ms=entry.at_ms,
        kind=entry.kind.value,
        says=entry_words(entry, names, display),
        state=state,
        tray=names.trays.get(entry.tray_id or -1),
        place=names.places.get(entry.place_id or -1),
        mix=names.mixes.get(entry.mix_id or -1),
        head=names.heads.get(entry.head_id or -1),
        lot=names.lots.get(entry.lot_id or -1),
        data=entry.data,
        note=entry.note,
        replaces=entry.replaces,
    )


def entry_words(entry: Entry, names: Names, display: Display) -> str:
    """What an entry says, without its time: “tray A1: sowed Tomato, 72 cells × 2 seeds, 6 mm deep”."""
    tray = names.trays.get(entry.tray_id or -1)
    subject = f"tray {tray}: " if tray else ""
    if entry.kind in WORDS:
        return subject * (entry.kind in TRAY_FIRST) + WORDS[entry.kind](entry, names, display)
    count = entry.data.get("count")
    return f"{subject}{entry.kind.value}" + (f" {count:g}" if count is not None else "")


def _sowed(entry: Entry, names: Names, display: Display) -> str:
    data = entry.data
    crop = load_crops().get(data.get("crop", ""))
    lot = names.lots.get(entry.lot_id or -1)
    parts = [f"sowed {crop.name if crop else data.get('crop', '?')}" + (f" (lot {lot})" if lot else "")]
    cells, per_cell = data.get("cells"), data.get("seeds_per_cell")
    seeds = f"{per_cell:g} seed{'s' if per_cell != 1 else ''}" if per_cell else ""
    if cells:
        parts.append(f"{cells:g} cells" + (f" × {seeds}" if seeds else ""))
    elif seeds:
        parts.append(f"{seeds} per cell")
    if data.get("depth_mm") is not None:
        parts.append(f"{display.depth(data['depth_mm'])} deep")
    return ", ".join(parts) + _left_out(entry)


def _watered(entry: Entry, names: Names, display: Display) -> str:
    how, litres = HOW_WORDS.get(entry.data.get("how", ""), ""), entry.data.get("litres")
    return f"watered {how}".rstrip() + (f", {litres:g} l" if litres else "")


def _head_placed(entry: Entry, names: Names, display: Display) -> str:
    tray = names.trays.get(entry.tray_id or -1)
    where = f"tray {tray}" if tray else names.places.get(entry.place_id or -1)
    end = f" ({entry.data['end']} end)" if entry.data.get("end") else ""
    return f"head {names.heads.get(entry.head_id or -1)} placed in {where}{end}"


def _on_base(entry: Entry, names: Names, display: Display) -> str:
    base, end = entry.data.get("base"), entry.data.get("end")
    return (
        (f"stands on base {base}" + (f" ({end} end)" if end else "")) if base else "stands on no shared base"
    )


def _calibrated(entry: Entry, names: Names, display: Display) -> str:
    head, points = names.heads.get(entry.head_id or -1), calibration_points(entry.data)
    driest, *between, wettest = sorted(points, key=lambda point: point[1])
    ends = [f"{volts:g} V at {m3_m3:g} m³/m³" for volts, m3_m3 in (driest, wettest)]
    who = f"head {head}" if head else f"mix {names.mixes.get(entry.mix_id or -1)}"
    more = f", {len(between)} between" if between else ""
    return f"{who} calibrated: {ends[0]} and {ends[1]}{more}"


def _capacity(entry: Entry, names: Names, display: Display) -> str:
    value, seen = entry.data["container_capacity_m3_m3"], entry.data.get("waterings")
    learned = f", learned from {seen:g} waterings" if seen else ""
    return f"container capacity of {names.mixes.get(entry.mix_id or -1)} is {value:.3g} m³/m³{learned}"


def _weighed(entry: Entry, names: Names, display: Display) -> str:
    head, volts = names.heads.get(entry.head_id or -1), entry.data.get("volts")
    words = f"weighed {entry.data.get('grams', 0):g} g"
    return f"pot of head {head}: {words} at {volts or 0:g} V" if head else words


def _noted(entry: Entry, names: Names, display: Display) -> str:
    place = names.places.get(entry.place_id or -1)
    return f"{place}: noted" if place else "noted"


def _emerged(entry: Entry, names: Names, display: Display) -> str:
    count, filled = entry.data.get("count"), entry.data.get("filled_cells")
    up = "seedlings up" if count is None else f"{count:g} seedling{'' if count == 1 else 's'} up"
    if filled is not None:
        up += f", {filled:g} cell{'' if filled == 1 else 's'} filled"
    return up + _left_out(entry)


def _left_out(entry: Entry) -> str:
    return ", left out of learning" if entry.data.get("learn") is False else ""


def _tested(entry: Entry, names: Names, display: Display) -> str:
    data = entry.data
    parts = data.get("replicates") or ()
    each = f" ({', '.join(f'{k:g}/{n:g}' for k, n in parts)})" if len(parts) > 1 else ""
    days = f" in {data['days']:g} days" if data.get("days") is not None else ""
    seeds, sprouted = data.get("seeds", 0), data.get("sprouted", 0)
    return f"lot {names.lots.get(entry.lot_id or -1)}: {sprouted:g} of {seeds:g} sprouted{days}{each}"


def _renamed(entry: Entry, names: Names, display: Display) -> str:
    data = entry.data
    return f"{data.get('noun')} “{data.get('was')}” is called “{data.get('name')}”"


TRAY_FIRST = (
    Kind.SOWED,
    Kind.EMERGED,
    Kind.WATERED,
    Kind.MOVED,
    Kind.LEVELLED,
    Kind.FILLED,
    Kind.WEIGHED,
    Kind.NOTED,
    Kind.ON_BASE,
    Kind.CAPACITY_ACCEPTED,
)
WORDS: Mapping[Kind, Callable[[Entry, Names, Display], str]] = {
    Kind.SOWED: _sowed,
    Kind.EMERGED: _emerged,
    Kind.WATERED: _watered,
    Kind.MOVED: lambda e, n, d: f"moved to {n.places.get(e.place_id or -1)}",
    Kind.FILLED: lambda e, n, d: f"filled with {n.mixes.get(e.mix_id or -1)}",
    Kind.HEAD_PLACED: _head_placed,
    Kind.ON_BASE: _on_base,
    Kind.HEAD_TAKEN_OUT: lambda e, n, d: f"head {n.heads.get(e.head_id or -1)} taken out",
    Kind.CALIBRATED: _calibrated,
    Kind.CAPACITY_ACCEPTED: _capacity,
    Kind.RAINED: lambda e, n, d: f"rained {d.depth(e.data['mm'])}" if e.data.get("mm") else "rained",
    Kind.VENTED: lambda e, n, d: f"vented {n.places.get(e.place_id or -1)}",
    Kind.CLOSED: lambda e, n, d: f"closed {n.places.get(e.place_id or -1)}",
    Kind.LEVELLED: lambda e, n, d: "put level",
    Kind.WEIGHED: _weighed,
    Kind.NOTED: _noted,
    Kind.TESTED: _tested,
    Kind.PACKED: lambda e, n, d: f"lot {n.lots.get(e.lot_id or -1)}: packed or harvested",
    Kind.RENAMED: _renamed,
    Kind.UNDONE: lambda e, n, d: f"entry {e.replaces} taken back",
}
