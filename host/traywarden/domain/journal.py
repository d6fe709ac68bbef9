"""The journal: what the grower did and saw, dated; and what stood where at any instant, read from it.

An entry is never changed. A correction is a new entry that names the one it `replaces`;
an undo is a new entry of kind UNDONE that does the same. Undoing an undo brings the entry back.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from enum import StrEnum
from typing import Any

from traywarden.domain.garden import Mix


class Kind(StrEnum):
    SOWED = "sowed"
    WATERED = "watered"
    MOVED = "moved"
    EMERGED = "emerged"
    POTTED_UP = "potted up"
    PLANTED_OUT = "planted out"
    VENTED = "vented"  # a frame or greenhouse was opened
    CLOSED = "closed"  # and closed again
    LEVELLED = "levelled"  # a tray, or the base it stands on, was put level
    WEIGHED = "weighed"
    NOTED = "noted"
    RAINED = "rained"
    FILLED = "filled"  # a tray was filled with a mix
    HEAD_PLACED = "head placed"  # a head was pushed into a tray, or an air sensor hung in a place
    HEAD_TAKEN_OUT = "head taken out"
    ON_BASE = "on base"  # trays stand together in one base tray, and are watered from below together
    CALIBRATED = "calibrated"
    TESTED = "tested"  # seeds of a lot were laid out to sprout and counted
    PACKED = "packed"  # a lot was packed or harvested
    CAPACITY_ACCEPTED = "capacity accepted"  # a mix's container capacity as heads showed it, made to hold
    RENAMED = "renamed"  # a place, tray, mix or lot is called otherwise
    UNDONE = "undone"


@dataclass(frozen=True, slots=True)
class Entry:
    """One journal entry. Which ids are set depends on the kind; `data` holds the rest.

    data keys by kind: SOWED crop, cells, seeds_per_cell, depth_mm; WATERED how ("above", "below"),
    litres; EMERGED count (all up so far), filled_cells (those with at least one seedling); both SOWED and
    EMERGED learn (false: it teaches nothing); POTTED_UP / PLANTED_OUT count; CALIBRATED points, pairs of
    volts and m³/m³ (for head_id, or for every head in mix_id); CAPACITY_ACCEPTED container_capacity_m3_m3
    and, where it was learned, the number of waterings and the heads it was learned from, pairs of head and of
    the calibration it had (for mix_id, or for mix_id in tray_id alone); RAINED mm;
    WEIGHED grams, and volts where it was the pot of a head (head_id) that is being calibrated; TESTED seeds,
    sprouted, days, replicates, pairs of sprouted and seeds (for lot_id); PACKED nothing (for lot_id);
    HEAD_PLACED end (which end of the tray: “north”, “left”); ON_BASE base (its name; none: the tray stands
    alone), row (0, 1 … from one end), end; RENAMED noun, was, name
    (for the one id that the noun says).
    """

    entry_id: int
    at_ms: int
    written_ms: int
    kind: Kind
    tray_id: int | None = None
    place_id: int | None = None
    mix_id: int | None = None
    head_id: int | None = None
    lot_id: int | None = None
    data: Mapping[str, Any] = field(default_factory=dict)
    note: str = ""
    replaces: int | None = None


CAPACITY_TURNS = (
    Kind.FILLED,
    Kind.CAPACITY_ACCEPTED,
    Kind.CALIBRATED,
    Kind.HEAD_PLACED,
    Kind.HEAD_TAKEN_OUT,
)
"""Entries from which on another container capacity may hold in a tray (`Facts.mix_as_held`)."""


def standing(entries: Iterable[Entry]) -> list[Entry]:
    """The entries that hold: neither corrected nor taken back; oldest instant first.

    A correction of a correction leaves the first wording replaced; taking a correction back brings back the
    wording before it. An UNDONE entry never appears in the result. Unknown `replaces` ids are ignored.
    """
    everything = list(entries)
    replaced = replacements(everything)
    held = [e for e in everything if e.kind is not Kind.UNDONE and e.entry_id not in replaced]
    return sorted(held, key=lambda e: (e.at_ms, e.entry_id))


def replacements(entries: Iterable[Entry]) -> dict[int, Entry]:
    """By entry number: the correction or undo that stands in its place. An undo that was undone does not."""
    found: dict[int, Entry] = {}
    taken_back: set[int] = set()
    for entry in sorted(entries, key=lambda e: e.entry_id, reverse=True):  # what replaces is always younger
        if entry.replaces is None or entry.entry_id in taken_back:
            continue
        found.setdefault(entry.replaces, entry)
        if entry.kind is Kind.UNDONE:
            taken_back.add(entry.replaces)
    return found


@dataclass(frozen=True, slots=True)
class Stay:
    """`subject` was with `where` from start_ms (inclusive) to end_ms (exclusive; None: still is)."""

    subject: int
    where: int
    start_ms: int
    end_ms: int | None

    def holds_at(self, at_ms: int) -> bool:
        return self.start_ms <= at_ms and (self.end_ms is None or at_ms < self.end_ms)

    def overlap(self, start_ms: int, end_ms: int) -> tuple[int, int] | None:
        """The part of [start_ms, end_ms) this stay covers, or None."""
        start = max(start_ms, self.start_ms)
        end = end_ms if self.end_ms is None else min(end_ms, self.end_ms)
        return (start, end) if start < end else None


@dataclass(frozen=True, slots=True)
class Calibration:
    """From raw volts to water content: straight from point to point, by rising volts.

    `points` are pairs of volts [V] and water content [m³/m³]; two make a straight line. `elsewhere`: it was
    made in another mix than the one it is used in, for want of one made in this.
    """

    from_ms: int
    points: tuple[tuple[float, float], ...]
    elsewhere: bool = False

    @property
    def usable(self) -> bool:
        """Whether it tells anything: two points or more, at different volts."""
        return _usable(self.points)


def calibration_points(data: Mapping[str, Any]) -> tuple[tuple[float, float], ...]:
    """The points of a CALIBRATED entry, by rising volts. Entries of old name a dry and a wet one."""
    written = data.get("points")
    if written is None:
        written = ((data["dry_v"], data["dry_m3_m3"]), (data["wet_v"], data["wet_m3_m3"]))
    return tuple(sorted((float(volts), float(m3_m3)) for volts, m3_m3 in written))


class Facts:
    """Which head was in which tray, which tray in which place and mix, at any instant."""

    def __init__(self, entries: Iterable[Entry]) -> None:
        self.entries = standing(entries)
        self.head_trays = self._stays(Kind.HEAD_PLACED, "head_id", "tray_id", ends=Kind.HEAD_TAKEN_OUT)
        self.head_places = self._stays(Kind.HEAD_PLACED, "head_id", "place_id", ends=Kind.HEAD_TAKEN_OUT)
        self.tray_places = self._stays(Kind.MOVED, "tray_id", "place_id")
        self.tray_mixes = self._stays(Kind.FILLED, "tray_id", "mix_id")
        self._by_tray: dict[int, list[Entry]] = {}
        self._calibrated_heads: dict[int, list[Entry]] = {}
        self._calibrated_mixes: dict[int, list[Entry]] = {}
        self._accepted: dict[int, list[Entry]] = {}
        for entry in self.entries:
            if entry.tray_id is not None:
                self._by_tray.setdefault(entry.tray_id, []).append(entry)
            if entry.kind is Kind.CALIBRATED and entry.head_id is not None:
                self._calibrated_heads.setdefault(entry.head_id, []).append(entry)
            elif entry.kind is Kind.CALIBRATED and entry.mix_id is not None:
                self._calibrated_mixes.setdefault(entry.mix_id, []).append(entry)
            elif entry.kind is Kind.CAPACITY_ACCEPTED and entry.mix_id is not None:
                self._accepted.setdefault(entry.mix_id, []).append(entry)
        self._stays_of: dict[int, dict[int, list[Stay]]] = {}

    def _stays(self, kind: Kind, subject: str, where: str, ends: Kind | None = None) -> list[Stay]:
        stays: list[Stay] = []
        open_at: dict[int, tuple[int, int]] = {}
        for entry in self.entries:
            if entry.kind not in (kind, ends):
                continue
            who: int | None = getattr(entry, subject)
            if who is None:
                continue
            if who in open_at:
                there, since = open_at.pop(who)
                if since < entry.at_ms:
                    stays.append(Stay(who, there, since, entry.at_ms))
            to: int | None = getattr(entry, where) if entry.kind is kind else None
            if to is not None:
                open_at[who] = (to, entry.at_ms)
        stays += [Stay(who, there, since, None) for who, (there, since) in open_at.items()]
        return sorted(stays, key=lambda s: (s.start_ms, s.subject))

    def _where(self, stays: list[Stay], subject: int, at_ms: int) -> int | None:
        mine = self._by_subject(stays).get(subject, ())
        return next((s.where for s in reversed(mine) if s.holds_at(at_ms)), None)

    def _by_subject(self, stays: list[Stay]) -> dict[int, list[Stay]]:
        found = self._stays_of.get(id(stays))
        if found is None:
            found = self._stays_of[id(stays)] = {}
            for stay in stays:
                found.setdefault(stay.subject, []).append(stay)
        return found

    def tray_of_head(self, head_id: int, at_ms: int) -> int | None:
        return self._where(self.head_trays, head_id, at_ms)

    def place_of_tray(self, tray_id: int, at_ms: int) -> int | None:
        return self._where(self.tray_places, tray_id, at_ms)

    def mix_of_tray(self, tray_id: int, at_ms: int) -> int | None:
        return self._where(self.tray_mixes, tray_id, at_ms)

    def heads_in_tray(self, tray_id: int, start_ms: int, end_ms: int) -> list[Stay]:
        """Stays of heads in the tray that touch [start_ms, end_ms)."""
        return [s for s in self.head_trays if s.where == tray_id and s.overlap(start_ms, end_ms)]

    def heads_in_place(self, place_id: int, start_ms: int, end_ms: int) -> list[Stay]:
        """Stays of heads hung in the place itself (air sensors) that touch [start_ms, end_ms)."""
        return [s for s in self.head_places if s.where == place_id and s.overlap(start_ms, end_ms)]

    def trays_in_place(self, place_id: int, start_ms: int, end_ms: int) -> list[Stay]:
        return [s for s in self.tray_places if s.where == place_id and s.overlap(start_ms, end_ms)]

    def of_tray(self, tray_id: int, *kinds: Kind) -> list[Entry]:
        return [e for e in self._by_tray.get(tray_id, ()) if not kinds or e.kind in kinds]

    def mix_by_capacity(self, mix: Mix, tray_id: int, start_ms: int, end_ms: int) -> list[Mix]:
        """The mix with each container capacity that held in the tray in [start_ms, end_ms)."""
        turns_ms = (start_ms, *self.capacity_turns_ms(mix.mix_id), end_ms)
        held = {self.mix_as_held(mix, tray_id, at_ms).container_capacity_m3_m3 for at_ms in turns_ms}
        return [replace(mix, container_capacity_m3_m3=each) for each in sorted(held)]

    def capacity_turns_ms(self, mix_id: int) -> list[int]:
        """When another container capacity may have begun to hold for a mix, in one tray or in all."""
        if mix_id not in self._accepted:
            return []
        return sorted({e.at_ms for e in self.entries if e.kind in CAPACITY_TURNS})

    def mix_as_held(self, mix: Mix, tray_id: int | None, at_ms: int) -> Mix:
        """The mix with the container capacity that held in the tray (None: in any) at that instant.

        The newest accepted for that mix in that tray, else the newest accepted for the mix, else what the mix
        has of its own. Passed over is an accepted one at or below the dry line, and one that was learned from
        a head in another calibration than holds for it now: it is no capacity on the new scale.
        """
        accepted = [
            e
            for e in self._accepted.get(mix.mix_id, ())
            if e.tray_id in (None, tray_id)
            and e.at_ms <= at_ms
            and e.data["container_capacity_m3_m3"] > mix.dry_line_m3_m3
            and not self.outdated(e, tray_id, at_ms)
        ]
        if not accepted:
            return mix
        newest = max(accepted, key=lambda e: (e.tray_id is not None, e.at_ms, e.entry_id))
        return replace(mix, container_capacity_m3_m3=float(newest.data["container_capacity_m3_m3"]))

    def outdated(self, accepted: Entry, tray_id: int | None, at_ms: int) -> bool:
        """Whether an accepted container capacity rests on calibrations that hold no more at that instant.

        In a tray, if a head in it that it was learned from has another; without a tray, if all of them have.
        One that the grower gave by hand rests on none.
        """
        learned_from = {int(head): int(number) for head, number in accepted.data.get("heads", ())}
        inside = {s.subject for s in self.head_trays if s.where == tray_id and s.holds_at(at_ms)}
        anew = [
            self.calibration_in_force(head_id, accepted.mix_id, at_ms) != number
            for head_id, number in learned_from.items()
            if tray_id is None or head_id in inside
        ]
        return bool(anew) and (all(anew) if tray_id is None else any(anew))

    def sowing_of_tray(self, tray_id: int, at_ms: int) -> Entry | None:
        """The latest sowing in the tray at that instant, unless it has been planted out since."""
        seen: Entry | None = None
        for entry in self.of_tray(tray_id, Kind.SOWED, Kind.PLANTED_OUT):
            if entry.at_ms <= at_ms:
                seen = entry if entry.kind is Kind.SOWED else None
        return seen

    def planted_out(self, tray_id: int, at_ms: int) -> bool:
        """Whether what was sown in the tray has been planted out by then, and nothing sown since."""
        turns = [e for e in self.of_tray(tray_id, Kind.SOWED, Kind.PLANTED_OUT) if e.at_ms <= at_ms]
        return bool(turns) and turns[-1].kind is Kind.PLANTED_OUT

    def emergence_of_sowing(self, sowing: Entry, at_ms: int) -> Entry | None:
        """The first entry up to that instant that shows seedlings of the sowing, if any.

        A count of none shows none; seedlings that were potted up had come up, also where nobody wrote that
        down.
        """
        seen = self.of_tray(sowing.tray_id or -1, Kind.EMERGED, Kind.POTTED_UP)
        return next((e for e in seen if sowing.at_ms <= e.at_ms <= at_ms and e.data.get("count") != 0), None)

    def calibrations(self, head_id: int, mix_id: int | None) -> list[Calibration]:
        """Calibrations by which the head is read in a mix, oldest first.

        Its own made in that mix, else those of the mix, else its own made in another, marked `elsewhere`. In
        no mix that is known, all of its own. The first one also holds for the time before it: a calibration
        made late explains the past.
        """
        found, elsewhere = self._calibrated(head_id, mix_id)
        return [Calibration(e.at_ms, calibration_points(e.data), elsewhere) for e in found]

    def calibrated_in(self, head_id: int, mix_id: int | None) -> bool:
        """Whether the head has a usable calibration made in that mix, its own or that of the mix."""
        return any(c.usable and not c.elsewhere for c in self.calibrations(head_id, mix_id))

    def calibration_in_force(self, head_id: int, mix_id: int | None, at_ms: int) -> int:
        """Number of the entry by which the head is read at an instant; 0 where it is not calibrated."""
        usable = [e for e in self._calibrated(head_id, mix_id)[0] if _usable(calibration_points(e.data))]
        begun = [e for e in usable if e.at_ms <= at_ms] or usable[:1]
        return begun[-1].entry_id if begun else 0

    def _calibrated(self, head_id: int, mix_id: int | None) -> tuple[list[Entry], bool]:
        """The entries by which a head is read in a mix, and whether they were made in another."""
        own = self._calibrated_heads.get(head_id, [])
        if mix_id is None:
            return own, False
        here = [e for e in own if self.made_in(e) in (None, mix_id)]
        of_mix = here or self._calibrated_mixes.get(mix_id, [])
        return (of_mix, False) if of_mix else (own, True)

    def made_in(self, calibrated: Entry) -> int | None:
        """The mix that a head's own calibration was made in; None where nobody wrote that down.

        The mix of the tray it was in; where it was in none, as on the day it came out of the box, that of the
        first tray it was put in afterwards.
        """
        head_id = calibrated.head_id
        if head_id is None:
            return calibrated.mix_id
        at_ms = calibrated.at_ms
        tray_id = self.tray_of_head(head_id, at_ms)
        if tray_id is None:
            later = [s for s in self.head_trays if s.subject == head_id and s.start_ms > at_ms]
            if not later:
                return None
            tray_id, at_ms = later[0].where, later[0].start_ms
        return self.mix_of_tray(tray_id, at_ms)


def _usable(points: tuple[tuple[float, float], ...]) -> bool:
    return len({volts for volts, _ in points}) > 1
