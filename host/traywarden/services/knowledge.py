"""What the watch knows of the garden: trays, mixes, places and the journal, and the evidence they make.

Reloaded only when the journal or the nouns have changed, so that judging one tray of a thousand stays cheap.
"""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from traywarden.domain.crops import Crop
from traywarden.domain.evidence import Evidence, Sown, Tracks
from traywarden.domain.garden import Garden, Mix, Place, Probe, Tray
from traywarden.domain.journal import Entry, Facts, Kind
from traywarden.domain.lateness import INHIBITED_ABOVE_C, INHIBITION_SOURCE
from traywarden.domain.notice_words import Watered
from traywarden.domain.rules import Rule, telling
from traywarden.domain.subjects import Subject, SubjectKind
from traywarden.domain.wetting import Wetting
from traywarden.services.instants import Instants, answers_of
from traywarden.services.recent import Recent, Warm, suffices
from traywarden.services.series import recent_series, tray_series, year_start_ms
from traywarden.services.tray_knowledge import TrayKnowledge
from traywarden.services.wettings import (
    LEAD_MS,
    LOOK_BACK_MS,
    event_ms,
    joined,
    known_from,
    tray_wettings,
)
from traywarden.store import garden as garden_store
from traywarden.store import journal as journal_store
from traywarden.store import probes as probe_store
from traywarden.store.store import Tx

KNOWN_FROM = {
    "sensor": "seen by its sensor",
    "journal": "by the journal",
    "sensor and journal": "by the journal, and seen by its sensor",
}
OF_MIX = (Kind.CALIBRATED, Kind.CAPACITY_ACCEPTED)
"""Entries that can change a verdict by themselves, without any new reading."""


@dataclass(frozen=True, slots=True)
class _Nouns:
    """What is not in the journal."""

    garden: Garden | None
    trays: dict[int, Tray]
    mixes: dict[int, Mix]
    places: dict[int, Place]
    lot_crops: dict[int, str]

    @classmethod
    def of(cls, tx: Tx) -> "_Nouns":
        return cls(
            garden_store.the_garden(tx),
            {t.tray_id: t for t in garden_store.trays(tx)},
            {m.mix_id: m for m in garden_store.mixes(tx)},
            {p.place_id: p for p in garden_store.places(tx)},
            {lot.lot_id: lot.crop for lot in garden_store.lots(tx)},
        )


class Knowledge:
    """Trays, mixes, places, lots and journal as read at one moment."""

    def __init__(self, tx: Tx, crops: Mapping[str, Crop]) -> None:
        self._crops = crops
        self._nouns = nouns = _Nouns.of(tx)
        self.garden, self.trays, self.mixes, self.places = (
            nouns.garden,
            nouns.trays,
            nouns.mixes,
            nouns.places,
        )
        self._lot_crops = nouns.lot_crops
        self._meet_probes(tx)
        self.entries: dict[int, Entry] = {e.entry_id: e for e in journal_store.entries(tx)}
        self.entry_id = max(self.entries, default=0)
        facts = Facts(self.entries.values())
        self._by_tray: dict[int, list[Entry]] = {}
        self._by_head: dict[int, list[Entry]] = {}
        self._by_mix: dict[int, list[Entry]] = {}
        self._of_places = [e for e in facts.entries if e.tray_id is None and e.place_id is not None]
        self._place_waterings = [e for e in facts.entries if e.kind is Kind.WATERED and e.tray_id is None]
        for entry in facts.entries:
            if entry.tray_id is not None:
                self._by_tray.setdefault(entry.tray_id, []).append(entry)
            if entry.head_id is not None:
                self._by_head.setdefault(entry.head_id, []).append(entry)
            elif _for_a_mix(entry):
                self._by_mix.setdefault(entry.mix_id or -1, []).append(entry)
        self.head_stays: dict[int, list[tuple[int, int, int | None]]] = {}
        for stay in facts.head_trays:
            self.head_stays.setdefault(stay.subject, []).append((stay.where, stay.start_ms, stay.end_ms))
        self._heads_of: dict[int, list[int]] = {}
        for head_id, stays in self.head_stays.items():
            for tray_id in {where for where, *_ in stays}:
                self._heads_of.setdefault(tray_id, []).append(head_id)
        self._hung = facts.head_places
        self._known: dict[int, TrayKnowledge] = {}

    def _meet_probes(self, tx: Tx) -> None:
        self.probes: dict[int, Probe] = {p.probe_id: p for p in probe_store.probes(tx)}
        by_name = {p.name: p.probe_id for p in self.probes.values()}
        self.probe_of_head = {h.head_id: by_name[h.probe] for h in probe_store.heads(tx)}

    def renewed(self, tx: Tx) -> "Knowledge":
        """As it is known now: this one, where nothing but probes has changed."""
        if journal_store.newest_entry_id(tx) != self.entry_id or _Nouns.of(tx) != self._nouns:
            return Knowledge(tx, self._crops)
        self._meet_probes(tx)
        return self

    def of(self, tray_id: int) -> TrayKnowledge:
        """What is known of one tray; made on first use."""
        if tray_id not in self._known:
            self._known[tray_id] = self._tray(tray_id)
        return self._known[tray_id]

    def _tray(self, tray_id: int) -> TrayKnowledge:
        mine = {e.entry_id: e for e in self._by_tray.get(tray_id, [])}
        for entry in list(mine.values()):
            if entry.kind is Kind.HEAD_PLACED and entry.head_id is not None:
                theirs = self._by_head[entry.head_id]
                mine |= {e.entry_id: e for e in theirs}
                mine |= {e.entry_id: e for e in self._fillings(e.tray_id for e in theirs)}
            if entry.kind is Kind.FILLED and entry.mix_id is not None:
                mine |= {e.entry_id: e for e in self._by_mix.get(entry.mix_id, [])}
        facts = Facts(mine.values())
        return TrayKnowledge(
            self.trays[tray_id], facts, self.mixes, lambda at_ms: self._sown(facts, tray_id, at_ms)
        )

    def _fillings(self, tray_ids: Iterable[int | None]) -> Iterator[Entry]:
        """What other trays were filled with, which a head was in: the mix that it was calibrated in."""
        for tray_id in set(tray_ids) - {None}:
            yield from (e for e in self._by_tray.get(tray_id or -1, []) if e.kind is Kind.FILLED)

    def _sown(self, facts: Facts, tray_id: int, at_ms: int) -> Sown | None:
        sowing = facts.sowing_of_tray(tray_id, at_ms)
        if sowing is None:
            return None
        named = str(sowing.data.get("crop") or self._lot_crops.get(sowing.lot_id or -1) or "seed")
        crop = self._crops.get(named)
        emerged = facts.emergence_of_sowing(sowing, at_ms)
        up_ms = None if emerged is None else emerged.at_ms
        potted = facts.of_tray(tray_id, Kind.POTTED_UP)
        potted_ms = next((e.at_ms for e in potted if sowing.at_ms <= e.at_ms <= at_ms), None)
        if crop is None:
            return Sown(named, sowing.at_ms, None, emerged_ms=up_ms, key=named, potted_ms=potted_ms)
        sleeps_c = INHIBITED_ABOVE_C.get(crop.key)
        return Sown(
            crop.name,
            sowing.at_ms,
            crop.floor_c,
            crop.floor_kind,
            crop.floor_source,
            up_ms,
            crop.key,
            crop.max_c if sleeps_c is None else sleeps_c,
            "published maximum" if sleeps_c is None else "limit for falling asleep",
            (crop.max_source or crop.source) if sleeps_c is None else INHIBITION_SOURCE,
            sleeps_c is not None,
            potted_ms,
        )

    def trays_of_head(self, head_id: int, from_ms: int) -> set[int]:
        """Trays the head was in at `from_ms` or later."""
        return {
            tray_id
            for tray_id, _, end_ms in self.head_stays.get(head_id, [])
            if end_ms is None or end_ms > from_ms
        }

    def heads_of_tray(self, tray_id: int) -> list[int]:
        """Every head that ever was in the tray."""
        return self._heads_of.get(tray_id, [])

    def touched_since(self, entry_id: int) -> dict[int, int]:
        """Trays whose past later entries have changed, each with the earliest instant they speak of."""
        touched: dict[int, int] = {}
        if entry_id >= self.entry_id:
            return touched
        for newer in (e for e in self.entries.values() if e.entry_id > entry_id):
            replaced = self.entries.get(newer.replaces) if newer.replaces is not None else None
            for entry in (newer, replaced):
                if entry is None:
                    continue
                for tray_id in self._concerned(entry):
                    # A calibration holds for the time before it too, where it is the first.
                    at_ms = 0 if entry.kind is Kind.CALIBRATED else entry.at_ms
                    touched[tray_id] = min(at_ms, touched.get(tray_id, at_ms))
        return {tray_id: at_ms for tray_id, at_ms in touched.items() if tray_id in self.trays}

    def _concerned(self, entry: Entry) -> set[int]:
        found = {entry.tray_id} if entry.tray_id is not None else set()
        if entry.head_id is not None:
            found |= {where for where, *_ in self.head_stays.get(entry.head_id, [])}
        elif _for_a_mix(entry):
            filled = (e for es in self._by_tray.values() for e in es if e.kind is Kind.FILLED)
            found |= {e.tray_id for e in filled if e.mix_id == entry.mix_id and e.tray_id is not None}
        return found

    def recent(
        self,
        tx: Tx,
        after_ms: Mapping[int, int],
        until_ms: int,
        *,
        blind_after_ms: int,
        earliest_year: int,
        warm: Warm | None = None,
    ) -> Recent:
        """The newest readings of these trays (tray → instant judged to), for `timeline`."""
        heads = {head: at_ms for tray_id, at_ms in after_ms.items() for head in self.heads_of_tray(tray_id)}
        earliest_ms = year_start_ms(earliest_year)
        return Recent(tx, heads, until_ms, blind_after_ms=blind_after_ms, earliest_ms=earliest_ms, warm=warm)

    def timeline(
        self,
        tx: Tx,
        tray_id: int,
        after_ms: int,
        until_ms: int,
        *,
        blind_after_ms: int,
        earliest_year: int,
        only_for: Sequence[Rule] = (),
        recent: Recent | None = None,
    ) -> Iterator[Evidence]:
        """The tray's evidence at every instant measured (or written down) in (after_ms, until_ms].

        With `only_for`, at those instants alone that matter to the answers of these rules; see `telling`.
        With `recent`, from these readings where they suffice: the same, but sooner.
        """
        found = self.instants(
            tx,
            tray_id,
            after_ms,
            until_ms,
            blind_after_ms=blind_after_ms,
            earliest_year=earliest_year,
            only_for=only_for,
            recent=recent,
        )
        return (found.evidence(number) for number in range(len(found.at_ms)))

    def instants(
        self,
        tx: Tx,
        tray_id: int,
        after_ms: int,
        until_ms: int,
        *,
        blind_after_ms: int,
        earliest_year: int,
        only_for: Sequence[Rule] = (),
        recent: Recent | None = None,
    ) -> Instants:
        """The instants of `timeline`, with what rules answer there; their evidence is made when asked for."""
        known = self.of(tray_id)
        start_ms, end_ms = after_ms - blind_after_ms, until_ms + 1
        series = recent and recent_series(tx, known.facts, tray_id, start_ms, end_ms, recent)
        if not series or not all(suffices(each, after_ms) for each in series):
            series = tray_series(tx, known.facts, tray_id, start_ms, end_ms, earliest_year=earliest_year)
        turns = [at_ms for at_ms in known.from_ms if after_ms < at_ms <= until_ms]
        tracks = Tracks(series, after_ms, blind_after_ms, turns)
        asked = {rule.name: answers_of(rule, known, tracks) for rule in only_for}
        known_answers = {name: codes for name, codes in asked.items() if codes is not None}
        if only_for and len(known_answers) == len(only_for):
            chosen = telling(tracks.at_ms, list(known_answers.values()), blind_after_ms)
            # Where what stands there changes a delay may change, though no answer does.
            at_turn = np.searchsorted(tracks.at_ms, turns)
            chosen = np.union1d(chosen, [*(n for n in (*at_turn, *(at_turn - 1)) if n >= 0)]).astype(np.int64)
        else:
            chosen = np.arange(tracks.at_ms.size)
        return Instants(known, tracks, chosen, known_answers)

    def name_of(self, subject: Subject) -> str:
        """What the grower calls it."""
        match subject.kind:
            case SubjectKind.TRAY:
                return self.trays[subject.number].name
            case SubjectKind.PLACE:
                return self.places[subject.number].name
            case SubjectKind.PROBE:
                return self.probes[subject.number].called
            case SubjectKind.HOST:
                return "this host"

    def where(self, subject: Subject, at_ms: int) -> Place | None:
        """The place a tray stood in, or a place itself; a probe's and the host's own is not written down."""
        if subject.kind is SubjectKind.TRAY:
            return self.place_of(subject.number, at_ms)
        return self.places.get(subject.number) if subject.kind is SubjectKind.PLACE else None

    def heads_hung(self, place_id: int, at_ms: int) -> list[int]:
        """Heads that hang in a place itself."""
        return [s.subject for s in self._hung if s.where == place_id and s.holds_at(at_ms)]

    def place_of(self, tray_id: int, at_ms: int) -> Place | None:
        place_id = self.of(tray_id).facts.place_of_tray(tray_id, at_ms)
        return self.places.get(place_id) if place_id is not None else None

    def deeds(self, subject: Subject, kinds: Sequence[Kind]) -> list[Entry]:
        """Entries of these kinds about it, or about the place where a tray stood, oldest first."""
        if subject.kind is not SubjectKind.TRAY:
            place_id = subject.number if subject.kind is SubjectKind.PLACE else None
            return [e for e in self._of_places if e.kind in kinds and e.place_id == place_id]
        tray_id = subject.number
        facts = self.of(tray_id).facts
        of_place = (
            e
            for e in self._of_places
            if e.kind in kinds and e.place_id == facts.place_of_tray(tray_id, e.at_ms)
        )
        return sorted([*facts.of_tray(tray_id, *kinds), *of_place], key=lambda e: (e.at_ms, e.entry_id))

    def watered(
        self, tx: Tx, tray_id: int, now_ms: int, *, earliest_year: int, by_sensor: bool
    ) -> Watered | None:
        """When the tray was last watered: by the journal, or a wetting its sensor saw, whichever is later."""
        known = self.of(tray_id)
        written = [
            entry
            for entry in (*known.facts.of_tray(tray_id, Kind.WATERED), *self._place_waterings)
            if entry.at_ms <= now_ms
            and (entry.tray_id or entry.place_id == known.facts.place_of_tray(tray_id, entry.at_ms))
        ]
        seen: list[Wetting] = []
        if by_sensor:
            start_ms = now_ms - LOOK_BACK_MS
            series = tray_series(
                tx, known.facts, tray_id, start_ms - LEAD_MS, now_ms + 1, earliest_year=earliest_year
            )
            seen = [w for w in tray_wettings(series) if w.onset_s * 1000 >= start_ms]
        events = joined(seen, sorted(written, key=lambda entry: entry.at_ms))
        return Watered(event_ms(events[-1]), KNOWN_FROM[known_from(events[-1])]) if events else None


def _for_a_mix(entry: Entry) -> bool:
    """Whether the entry speaks of every tray with the mix."""
    return (
        entry.kind in OF_MIX and entry.mix_id is not None and entry.head_id is None and entry.tray_id is None
    )
