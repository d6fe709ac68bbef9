"""Writing the journal: what an entry must agree with before it is added, corrected or taken back."""

import math
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from itertools import pairwise
from typing import Any

from traywarden.domain.bases import base_of_tray
from traywarden.domain.garden import Head, Place, Tray
from traywarden.domain.journal import Entry, Facts, Kind, calibration_points, replacements, standing
from traywarden.errors import UsageError
from traywarden.services.renaming import named_back
from traywarden.store import garden as garden_store
from traywarden.store import journal as journal_store
from traywarden.store import probes as probe_store
from traywarden.store.store import Tx

VOLTS = (-0.5, 6.0)
# Data a kind may hold, each with its lowest and highest value (wide: only slips of the keyboard are refused).
NUMBERS: Mapping[Kind, Mapping[str, tuple[float, float]]] = {
    Kind.SOWED: {"cells": (1, 100_000), "seeds_per_cell": (1, 10_000), "depth_mm": (0, 500)},
    Kind.WATERED: {"litres": (0.001, 10_000)},
    Kind.EMERGED: {"count": (0, 1_000_000), "filled_cells": (0, 100_000)},
    Kind.POTTED_UP: {"count": (1, 1_000_000)},
    Kind.PLANTED_OUT: {"count": (1, 1_000_000)},
    Kind.RAINED: {"mm": (0.01, 2_000)},
    Kind.WEIGHED: {"grams": (1, 1_000_000), "volts": VOLTS},
    Kind.TESTED: {"seeds": (1, 100_000), "sprouted": (0, 100_000), "days": (0, 365)},
    Kind.CAPACITY_ACCEPTED: {"container_capacity_m3_m3": (0.05, 0.98), "waterings": (1, 100_000)},
}
LEAST_SPAN_V = 0.05
"""Volts that must lie between the driest and the wettest point of a calibration (no source)."""
NEEDS_SOWING = (Kind.EMERGED, Kind.POTTED_UP, Kind.PLANTED_OUT)


@dataclass(frozen=True, slots=True)
class Draft:
    """An entry that has not been written yet; the fields are those of `Entry`."""

    kind: Kind
    at_ms: int
    tray_id: int | None = None
    place_id: int | None = None
    mix_id: int | None = None
    head_id: int | None = None
    lot_id: int | None = None
    data: Mapping[str, Any] = field(default_factory=dict)
    note: str = ""


def put(tx: Tx, draft: Draft, now_ms: int, *, replaces: int | None = None) -> Entry:
    """Check a draft against everything else that holds, and add it."""
    held = standing(journal_store.entries(tx))
    _check(tx, draft, Facts(e for e in held if e.entry_id != replaces))
    data = {name: value for name, value in draft.data.items() if value is not None}
    if draft.kind is Kind.CAPACITY_ACCEPTED and "waterings" in data:
        data.setdefault("heads", _learned_from(draft, Facts(held)))
    return journal_store.write(
        tx,
        draft.kind,
        draft.at_ms,
        now_ms,
        tray_id=draft.tray_id,
        place_id=draft.place_id,
        mix_id=draft.mix_id,
        head_id=draft.head_id,
        lot_id=draft.lot_id,
        data=data,
        note=draft.note,
        replaces=replaces,
    )


def correct(tx: Tx, entry_id: int, now_ms: int, data: Mapping[str, Any], **changes: Any) -> Entry:
    """Add an entry that replaces another: its values, save for those given.

    `changes` are fields of Draft; `data` is laid over the old data (None takes a value away). Raises
    UsageError where nothing changes, the entry no longer holds, or a value has no meaning for its kind.
    """
    old = _holding(tx, entry_id)
    if old.kind is Kind.UNDONE:
        raise UsageError(
            f"Entry {entry_id} took another entry back; there is nothing to correct in it. "
            f"To bring that entry back: traywarden journal undo {entry_id}"
        )
    if old.kind is Kind.RENAMED:
        raise UsageError(
            f"Entry {entry_id} tells of a new name; there is nothing to correct in it. Rename it once more, "
            "or take the entry back."
        )
    strange = [name for name in data if name not in correctable_data(old.kind)]
    subjects = [name for name, value in changes.items() if name.endswith("_id") and value is not None]
    strange += [
        name
        for name in subjects
        if getattr(old, name) is None and not (name == "lot_id" and old.kind is Kind.SOWED)
    ]
    if strange:
        what = strange[0].removesuffix("_id").replace("_", " ")
        raise UsageError(f"Entry {entry_id} ({old.kind}) has no {what} to correct.")
    fields = ("tray_id", "place_id", "mix_id", "head_id", "lot_id", "note")
    before = Draft(old.kind, old.at_ms, **{n: getattr(old, n) for n in fields}, data=dict(old.data))
    after = replace(before, data={**old.data, **data}, **changes)
    if after == before:
        raise UsageError(f"Nothing of entry {entry_id} would change; say what is to be different.")
    return put(tx, after, now_ms, replaces=entry_id)


def correctable_data(kind: Kind) -> tuple[str, ...]:
    """Names of the data that an entry of that kind can be given by a correction."""
    words = {
        Kind.SOWED: ("crop", "learn"),
        Kind.EMERGED: ("learn",),
        Kind.WATERED: ("how",),
        Kind.HEAD_PLACED: ("end",),
        Kind.ON_BASE: ("end",),
    }
    return (*NUMBERS.get(kind, {}), *words.get(kind, ()))


def undo(tx: Tx, entry_id: int, now_ms: int) -> Entry:
    """Add an entry that takes another back. Undoing an undo brings the entry back."""
    old = _holding(tx, entry_id)
    first, times = _taken_back(tx, old)
    if first.kind is Kind.RENAMED:
        named_back(tx, first, again=times % 2 == 1)
    return journal_store.write(tx, Kind.UNDONE, old.at_ms, now_ms, replaces=entry_id)


def _taken_back(tx: Tx, entry: Entry) -> tuple[Entry, int]:
    """What a chain of taking back and bringing back began with, and how long the chain is."""
    entries, times = {e.entry_id: e for e in journal_store.entries(tx)}, 0
    while entry.kind is Kind.UNDONE and entry.replaces in entries:
        entry, times = entries[entry.replaces], times + 1
    return entry, times


def seeds_sown(sowing: Entry, tray: Tray) -> int | None:
    """How many seeds went into the tray, where that is known."""
    cells = sowing.data.get("cells") or tray.cells
    per_cell = sowing.data.get("seeds_per_cell")
    return int(cells * per_cell) if cells and per_cell else None


def _holding(tx: Tx, entry_id: int) -> Entry:
    entries = {e.entry_id: e for e in journal_store.entries(tx)}
    if entry_id not in entries:
        raise UsageError(
            f"There is no journal entry {entry_id}; see their numbers with: traywarden journal list"
        )
    by = replacements(entries.values()).get(entry_id)
    if by is not None and by.kind is Kind.UNDONE:
        raise UsageError(
            f"Entry {entry_id} is already taken back, by entry {by.entry_id}; "
            f"to bring it back: traywarden journal undo {by.entry_id}"
        )
    if by is not None:
        raise UsageError(f"Entry {entry_id} has been replaced by entry {by.entry_id}; use that number.")
    return entries[entry_id]


def _check(tx: Tx, draft: Draft, facts: Facts) -> None:
    _check_numbers(draft)
    tray = next((t for t in garden_store.trays(tx) if t.tray_id == draft.tray_id), None)
    place = next((p for p in garden_store.places(tx) if p.place_id == draft.place_id), None)
    head = next((h for h in probe_store.heads(tx) if h.head_id == draft.head_id), None)
    if tray and draft.kind in NEEDS_SOWING:
        _check_sowing(draft, tray, facts)
    elif tray and draft.kind is Kind.SOWED:
        cells = draft.data.get("cells")
        if cells and tray.cells and cells > tray.cells:
            raise UsageError(f"Tray “{tray.name}” has {tray.cells} cells; {cells:g} cannot be sown.")
    elif tray and place and draft.kind is Kind.MOVED:
        if facts.place_of_tray(tray.tray_id, draft.at_ms) == place.place_id:
            raise UsageError(f"Tray “{tray.name}” already stands in “{place.name}” at that time.")
    elif tray and draft.kind is Kind.ON_BASE:
        _check_base(draft, tray, facts)
    elif head and draft.kind in (Kind.HEAD_PLACED, Kind.HEAD_TAKEN_OUT):
        _check_head(draft, head, tray, place, facts)
    elif draft.kind is Kind.CALIBRATED:
        _check_calibration(draft.data)
    elif draft.kind is Kind.TESTED:
        _check_test(draft.data)
    elif draft.kind is Kind.CAPACITY_ACCEPTED:
        _check_capacity(tx, draft)


def _check_numbers(draft: Draft) -> None:
    for name, (low, high) in NUMBERS.get(draft.kind, {}).items():
        value = draft.data.get(name)
        if value is not None and not (math.isfinite(value) and low <= value <= high):
            words = name.replace("_m3_m3", " water content").replace("_mm", " in mm").replace("_", " ")
            raise UsageError(f"A {words} of {value:g} cannot be; give {low:g} to {high:g}.")


def _check_sowing(draft: Draft, tray: Tray, facts: Facts) -> None:
    sowing = facts.sowing_of_tray(tray.tray_id, draft.at_ms)
    if sowing is None:
        raise UsageError(
            f"Nothing stands sown in tray “{tray.name}” at that time; write the sowing first with: "
            f'traywarden sowed "{tray.name}" --crop … --at …'
        )
    count, seeds = draft.data.get("count"), seeds_sown(sowing, tray)
    _check_filled(draft.data, sowing.data.get("cells") or tray.cells, tray)
    if count is not None and seeds is not None and count > seeds:
        raise UsageError(
            f"Only {seeds} seeds were sown in tray “{tray.name}” (entry {sowing.entry_id}); "
            f"{count:g} plants cannot be. Correct that entry or the count."
        )


def _check_filled(data: Mapping[str, Any], cells: float | None, tray: Tray) -> None:
    filled, count = data.get("filled_cells"), data.get("count")
    if filled is None:
        return
    if cells is not None and filled > cells:
        raise UsageError(f"Tray “{tray.name}” was sown in {cells:g} cells; {filled:g} cannot be filled.")
    if count is not None and filled > count:
        raise UsageError(f"{count:g} seedlings cannot fill {filled:g} cells; check both numbers.")


def _check_test(data: Mapping[str, Any]) -> None:
    seeds, sprouted = data.get("seeds"), data.get("sprouted")
    if seeds is None or sprouted is None:
        raise UsageError("A germination test needs how many seeds were laid out and how many sprouted.")
    if sprouted > seeds:
        raise UsageError(f"Of {seeds:g} seeds, {sprouted:g} cannot have sprouted; check both numbers.")
    parts = data.get("replicates")
    if parts and (sum(k for k, _ in parts), sum(n for _, n in parts)) != (sprouted, seeds):
        raise UsageError(
            "The replicates do not add up to the whole test; take the entry back and write the test again."
        )


def _check_head(draft: Draft, head: Head, tray: Tray | None, place: Place | None, facts: Facts) -> None:
    in_tray = facts.tray_of_head(head.head_id, draft.at_ms)
    hung = facts.heads_in_place(draft.place_id or -1, draft.at_ms, draft.at_ms + 1)
    if draft.kind is Kind.HEAD_TAKEN_OUT:
        placed = any(
            stay.subject == head.head_id and stay.holds_at(draft.at_ms)
            for stay in (*facts.head_trays, *facts.head_places)
        )
        if not placed:
            raise UsageError(f"Head {head.label} is in no tray and no place at that time.")
    elif (tray is None) == (place is None):
        raise UsageError(f"Say where head {head.label} goes: --tray or --place, one of them.")
    elif tray and head.number == 0:
        raise UsageError(
            f"Head {head.label} is the probe's own air sensor; it hangs in a place: use --place. "
            f"The heads for trays are numbered from 1."
        )
    elif tray and in_tray == tray.tray_id:
        raise UsageError(f"Head {head.label} is already in tray “{tray.name}” at that time.")
    elif place and any(stay.subject == head.head_id for stay in hung):
        raise UsageError(f"Head {head.label} already hangs in “{place.name}” at that time.")


def _check_base(draft: Draft, tray: Tray, facts: Facts) -> None:
    now = base_of_tray(facts, tray.tray_id, draft.at_ms)
    base = draft.data.get("base")
    if base is None and now is None:
        raise UsageError(f"Tray “{tray.name}” stands alone already at that time.")
    if now is not None and base == now.base and draft.data.get("end", "") == now.end:
        raise UsageError(f"Tray “{tray.name}” stands on base “{base}” already at that time.")


def _check_capacity(tx: Tx, draft: Draft) -> None:
    mix = next(m for m in garden_store.mixes(tx) if m.mix_id == draft.mix_id)
    value = draft.data["container_capacity_m3_m3"]
    if value <= mix.dry_line_m3_m3:
        raise UsageError(
            f"A container capacity of {value:.3g} m³/m³ cannot be: the dry line of “{mix.name}” lies at "
            f"{mix.dry_line_m3_m3:g} m³/m³; lower that first with: "
            f'traywarden mix change "{mix.name}" --dry-line …'
        )


def _learned_from(draft: Draft, facts: Facts) -> list[list[int]]:
    """The heads in the mix (in one tray) then, each with the number of the calibration it had."""
    now = [s for s in facts.head_trays if s.holds_at(draft.at_ms)]
    return [
        [s.subject, facts.calibration_in_force(s.subject, draft.mix_id, draft.at_ms)]
        for s in now
        if draft.tray_id in (None, s.where) and facts.mix_of_tray(s.where, draft.at_ms) == draft.mix_id
    ]


def _check_calibration(data: Mapping[str, Any]) -> None:
    points = calibration_points(data)
    for volts, m3_m3 in points:
        for says, value, (low, high) in (("voltage", volts, VOLTS), ("water content", m3_m3, (0.0, 1.0))):
            if not (math.isfinite(value) and low <= value <= high):
                raise UsageError(f"A {says} of {value:g} cannot be; give {low:g} to {high:g}.")
    (low_v, at_low), (high_v, at_high) = points[0], points[-1]
    if high_v - low_v < LEAST_SPAN_V:
        raise UsageError(
            f"{low_v:g} V and {high_v:g} V are too close for a calibration; "
            "measure in dry mix and in mix that has drained after a thorough watering."
        )
    steps = [b - a for (_, a), (_, b) in pairwise(points)]
    if not (all(step >= 0 for step in steps) or all(step <= 0 for step in steps)) or at_low == at_high:
        raise UsageError(
            "The water content must only rise, or only fall, with the volts; check "
            + ", ".join(f"{m3_m3:g} m³/m³ at {volts:g} V" for volts, m3_m3 in points)
            + "."
        )
