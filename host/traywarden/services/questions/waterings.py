"""When each tray was watered, how, and how long ago: what sensors saw, joined with what the journal says."""

from bisect import bisect_right
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import datetime
from functools import partial
from typing import cast

import numpy as np

from traywarden.domain.garden import Tray
from traywarden.domain.journal import Entry, Kind, Stay
from traywarden.domain.moisture import percent_of_container_capacity
from traywarden.domain.rain import Told, classify
from traywarden.domain.series import HeadSeries
from traywarden.domain.wetting import Wetting, WettingKind
from traywarden.services.at_hand import most_at_hand
from traywarden.services.questions.ground import DAY_MS, Ground
from traywarden.services.series import rain_series
from traywarden.services.wettings import (
    LOOK_BACK_MS,
    Event,
    event_ms,
    head_wettings,
    joined,
    known_from,
    lead_from_ms,
    merged,
)
from traywarden.store.engine import snapshot

TOGETHER = 50
"""So many trays are read at once."""
_KIND_OF = {"above": WettingKind.FROM_ABOVE, "below": WettingKind.FROM_BELOW}


@dataclass(frozen=True, slots=True)
class WateringEvent:
    """One watering or rain. `known_from`: “sensor”, “journal”, or “sensor and journal”.

    `rise_pct` is the rise in % of container capacity; None where no sensor saw it, or the mix is unknown.
    """

    at: datetime
    kind: str
    known_from: str
    rise_pct: float | None
    rise_m3_m3: float | None
    before_m3_m3: float | None
    after_m3_m3: float | None
    confidence: float
    reason: str
    litres: float | None = None
    note: str = ""


@dataclass(frozen=True, slots=True)
class TrayWaterings:
    tray: str
    place: str | None
    mix: str | None
    events: tuple[WateringEvent, ...]
    last: WateringEvent | None
    since_last_s: float | None
    moisture_calibrated: bool
    trouble: str = ""


@dataclass(frozen=True, slots=True)
class WateringsAnswer:
    garden: str
    start: datetime
    end: datetime
    trays: tuple[TrayWaterings, ...]


def ask_waterings(ground: Ground, tray: str = "", days: float = 14.0) -> WateringsAnswer:
    """Waterings of one tray (or all) in the last so many days, and the time since the last one.

    Raises UnknownNameError, UsageError (no tray yet), ShortOfDataError (no reading and no entry at all).
    """
    chosen = ground.chosen_trays(tray)
    if not any(e.kind in (Kind.WATERED, Kind.RAINED) for e in ground.facts.entries):
        ground.need_readings()
    start_ms = ground.now_ms - round(days * DAY_MS)
    back_ms = min(start_ms, ground.now_ms - LOOK_BACK_MS)
    found = tray_waterings(ground, back_ms, ground.now_ms + 1)
    return WateringsAnswer(
        ground.garden.name,
        ground.at(start_ms),
        ground.at(ground.now_ms),
        tuple(_answer(ground, each, found[each.tray_id], start_ms) for each in chosen),
    )


@dataclass(frozen=True, slots=True)
class TrayWettings:
    """What the readings and the journal say of one tray; wettings and told entries already joined."""

    read: Callable[[], Sequence[HeadSeries]]
    by_head: tuple[tuple[Wetting, ...], ...]
    events: tuple[Event, ...]

    @property
    def series(self) -> tuple[HeadSeries, ...]:
        """Its heads' readings; of a large garden they are read again each time, as memory is bounded."""
        return tuple(self.read())


def tray_waterings(ground: Ground, start_ms: int, end_ms: int) -> dict[int, TrayWettings]:
    """Wettings of every tray in [start_ms, end_ms): all trays at once, as rain shows only in company.

    Worked out once in a snapshot, as several questions are asked of the same span there.
    """
    shared = snapshot(ground.tx)
    if shared is None:
        return _tray_waterings(ground, start_ms, end_ms)
    facts, found = shared.get((tray_waterings, start_ms, end_ms), (None, {}))
    if facts is not ground.facts:
        found = _tray_waterings(ground, start_ms, end_ms)
        shared[tray_waterings, start_ms, end_ms] = ground.facts, found
    return cast(dict[int, TrayWettings], found)


def _tray_waterings(ground: Ground, start_ms: int, end_ms: int) -> dict[int, TrayWettings]:
    from_ms = lead_from_ms(start_ms)
    reads: dict[int, Callable[[], Sequence[HeadSeries]]] = {}
    by_head: dict[int, tuple[tuple[Wetting, ...], ...]] = {}
    at_hand, most, tray_ids = 0, most_at_hand(ground.tx), list(ground.trays)
    for first in range(0, len(tray_ids), TOGETHER):
        some = tray_ids[first : first + TOGETHER]
        ground.have_at_hand(some, from_ms, end_ms)
        for tray_id in some:
            mine = ground.tray_series(tray_id, from_ms, end_ms)
            by_head[tray_id] = tuple(tuple(head_wettings(head)) for head in mine)
            at_hand += sum(head.time_s.size for head in mine)
            again = partial(ground.tray_series, tray_id, from_ms, end_ms)
            reads[tray_id] = partial(tuple, mine) if at_hand <= most else again
    seen = {t: merged(wettings) for t, wettings in by_head.items() if wettings}
    entries = [e for e in ground.facts.entries if e.kind in (Kind.WATERED, Kind.RAINED) and e.at_ms < end_ms]

    concerned = [(entry, trays_concerned(ground, entry)) for entry in entries]
    covered = _Cover(ground)
    sheltered = {place.place_id for place in ground.places.values() if place.covered}
    rain_s, rain_mm = _rain(
        rain_series(
            ground.tx,
            ground.facts,
            sheltered,
            from_ms,
            end_ms,
            earliest_year=ground.settings["wire.earliest_year"],
        )
    )
    told = [t for e, tray_ids in concerned for t in _told(e, tray_ids)]
    written: dict[int, list[Entry]] = {tray_id: [] for tray_id in ground.trays}
    for entry, tray_ids in concerned:
        if entry.kind is Kind.WATERED:
            for tray_id in tray_ids:
                written[tray_id].append(entry)
    judged = classify(seen, covered, rain_time_s=rain_s, rain_mm=rain_mm, told=told)
    return {
        tray_id: TrayWettings(
            reads[tray_id],
            by_head[tray_id],
            joined(
                [w for w in judged.get(tray_id, []) if w.onset_s * 1000 >= start_ms],
                written[tray_id],
            ),
        )
        for tray_id in ground.trays
    }


def trays_concerned(ground: Ground, entry: Entry) -> list[int]:
    """The trays a “watered” entry is about: by name, or through the place where they stood."""
    if entry.tray_id is not None:
        return [entry.tray_id] if entry.tray_id in ground.trays else []
    if entry.place_id is None:
        return []
    return [t for t in ground.trays if ground.facts.place_of_tray(t, entry.at_ms) == entry.place_id]


class _Cover:
    """Whether rain is kept off a tray at an instant; where nobody knows its place, rain is not claimed."""

    def __init__(self, ground: Ground) -> None:
        stays: dict[int, list[Stay]] = {tray_id: [] for tray_id in ground.trays}
        for stay in ground.facts.tray_places:
            stays.setdefault(stay.subject, []).append(stay)
        self._since: dict[int, tuple[list[int], list[bool]]] = {}
        for tray_id, mine in stays.items():
            turns = sorted({at for s in mine for at in (s.start_ms, s.end_ms) if at is not None})
            places = [ground.place_of(tray_id, at_ms) for at_ms in turns]
            self._since[tray_id] = turns, [place is None or place.covered for place in places]

    def __call__(self, tray_id: int, at_s: float) -> bool:
        turns, covered = self._since[tray_id]
        now = bisect_right(turns, round(at_s * 1000)) - 1
        return now < 0 or covered[now]


def _told(entry: Entry, tray_ids: Sequence[int]) -> list[Told]:
    at_s = entry.at_ms / 1000
    if entry.kind is Kind.RAINED:
        return [Told(at_s, None, WettingKind.RAIN)]
    kind = _KIND_OF.get(str(entry.data.get("how", "")), WettingKind.UNCLEAR)
    return [Told(at_s, tray_id, kind) for tray_id in tray_ids]


def _rain(gauges: Sequence[HeadSeries]) -> tuple[np.ndarray, np.ndarray]:
    """Of several gauges the one with the most readings: two gauges do not make twice the rain."""
    used = [gauge.used("rain_mm") for gauge in gauges]
    return max(used, key=lambda pair: pair[0].size, default=(np.empty(0), np.empty(0)))


def _answer(ground: Ground, tray: Tray, found: TrayWettings, start_ms: int) -> TrayWaterings:
    place = ground.place_of(tray.tray_id, ground.now_ms)
    mix = ground.mix_of(tray.tray_id, ground.now_ms)
    events = [_event(ground, tray.tray_id, event) for event in found.events]
    last = events[-1] if events else None
    trouble = ""
    if not found.series:
        trouble = "no head was in it, so only the journal knows of its waterings"
    elif not any(head.used("moisture_m3_m3")[0].size for head in found.series):
        trouble = "its heads sent no usable moisture, so only the journal knows of its waterings"
    return TrayWaterings(
        tray.name,
        place.name if place else None,
        mix.name if mix else None,
        tuple(e for e, raw in zip(events, found.events, strict=True) if event_ms(raw) >= start_ms),
        last,
        None if last is None else (ground.now_ms - event_ms(found.events[-1])) / 1000,
        all(head.moisture_calibrated for head in found.series),
        trouble,
    )


def _event(ground: Ground, tray_id: int, event: Event) -> WateringEvent:
    wetting, entry = event
    litres = entry.data.get("litres") if entry else None
    note = entry.note if entry else ""
    if wetting is None:
        assert entry is not None
        kind = _KIND_OF.get(str(entry.data.get("how", "")), WettingKind.UNCLEAR)
        reason = "written down; no sensor saw moisture rise"
        return WateringEvent(
            ground.at(entry.at_ms), str(kind), "journal", None, None, None, None, 1.0, reason, litres, note
        )
    mix = ground.mix_of(tray_id, round(wetting.onset_s * 1000))
    rise = wetting.rise_m3_m3
    pct = None if mix is None else float(percent_of_container_capacity(rise, mix.container_capacity_m3_m3))
    return WateringEvent(
        ground.at(wetting.onset_s * 1000),
        str(wetting.kind),
        known_from(event),
        None if pct is None else round(pct, 1),
        round(rise, 4),
        round(wetting.before_m3_m3, 4),
        round(wetting.after_m3_m3, 4),
        wetting.confidence,
        wetting.reason,
        litres,
        note,
    )
