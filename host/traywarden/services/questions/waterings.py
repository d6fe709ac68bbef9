"""When each tray was watered, how, and how long ago: what sensors saw, joined with what the journal says."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

import numpy as np

from traywarden.domain.garden import Tray
from traywarden.domain.journal import Entry, Kind
from traywarden.domain.moisture import percent_of_container_capacity
from traywarden.domain.rain import Told, classify
from traywarden.domain.series import HeadSeries
from traywarden.domain.wetting import Wetting, WettingKind
from traywarden.services.questions.ground import DAY_MS, Ground
from traywarden.services.series import rain_series
from traywarden.services.wettings import (
    LEAD_MS,
    LOOK_BACK_MS,
    Event,
    event_ms,
    head_wettings,
    joined,
    known_from,
    merged,
)

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

    series: tuple[HeadSeries, ...]
    by_head: tuple[tuple[Wetting, ...], ...]
    events: tuple[Event, ...]


def tray_waterings(ground: Ground, start_ms: int, end_ms: int) -> dict[int, TrayWettings]:
    """Wettings of every tray in [start_ms, end_ms): all trays at once, as rain shows only in company."""
    series = {t: ground.tray_series(t, start_ms - LEAD_MS, end_ms) for t in ground.trays}
    by_head = {t: tuple(tuple(head_wettings(head)) for head in mine) for t, mine in series.items()}
    seen = {t: merged(by_head[t]) for t, mine in series.items() if mine}
    entries = [e for e in ground.facts.entries if e.kind in (Kind.WATERED, Kind.RAINED) and e.at_ms < end_ms]

    def covered(tray_id: int, at_s: float) -> bool:
        place = ground.place_of(tray_id, round(at_s * 1000))
        return place is None or place.covered  # where nobody knows the place, rain is not claimed

    sheltered = {place.place_id for place in ground.places.values() if place.covered}
    rain_s, rain_mm = _rain(
        rain_series(
            ground.tx,
            ground.facts,
            sheltered,
            start_ms - LEAD_MS,
            end_ms,
            earliest_year=ground.settings["wire.earliest_year"],
        )
    )
    told = [t for e in entries for t in _told(ground, e)]
    judged = classify(seen, covered, rain_time_s=rain_s, rain_mm=rain_mm, told=told)
    return {
        tray_id: TrayWettings(
            tuple(series[tray_id]),
            by_head[tray_id],
            joined(
                [w for w in judged.get(tray_id, []) if w.onset_s * 1000 >= start_ms],
                [e for e in entries if e.kind is Kind.WATERED and concerns(ground, e, tray_id)],
            ),
        )
        for tray_id in ground.trays
    }


def concerns(ground: Ground, entry: Entry, tray_id: int) -> bool:
    """Whether a “watered” entry is about this tray: by name, or through the place where it stood."""
    if entry.tray_id is not None:
        return entry.tray_id == tray_id
    return entry.place_id is not None and entry.place_id == ground.facts.place_of_tray(tray_id, entry.at_ms)


def _told(ground: Ground, entry: Entry) -> list[Told]:
    at_s = entry.at_ms / 1000
    if entry.kind is Kind.RAINED:
        return [Told(at_s, None, WettingKind.RAIN)]
    kind = _KIND_OF.get(str(entry.data.get("how", "")), WettingKind.UNCLEAR)
    return [Told(at_s, tray_id, kind) for tray_id in ground.trays if concerns(ground, entry, tray_id)]


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
