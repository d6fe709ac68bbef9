"""Wettings of one tray as its heads saw them and the journal tells them; every question asks here."""

import bisect
from collections.abc import Sequence
from dataclasses import replace
from functools import partial
from typing import TypeAlias

import numpy as np

from traywarden.domain.dry_down import DryDown, dry_downs, fit_dry_down
from traywarden.domain.garden import Mix
from traywarden.domain.journal import Entry
from traywarden.domain.kept import BLOCK_S, kept_fit, kept_wettings
from traywarden.domain.rain import DEFAULT_RAIN_PARAMS, together
from traywarden.domain.series import HeadSeries
from traywarden.domain.waterings import find_wettings
from traywarden.domain.wetting import Wetting
from traywarden.turns import give_way

DAY_MS = 86_400_000
LEAD_MS = 6 * DAY_MS
"""The daily swing is learnt from up to five days before; see WettingParams.habit_days."""
LOOK_BACK_MS = 30 * DAY_MS
"""How far back the last watering is looked for in the readings."""
NEW_MIX = "new mix or calibration"
"""What ended a dry-down where moisture is no longer to be compared with what came before."""

Event: TypeAlias = tuple[Wetting | None, Entry | None]
"""A wetting the sensor saw, the entry the journal has, or both."""


def head_wettings(head: HeadSeries) -> list[Wetting]:
    """Wettings one head saw. Left-out readings stay in their place, so that frost parts the record."""
    found: list[Wetting] = []
    give_way()
    for part in head.unbroken():
        columns = (part.time_s, part.clean("moisture_m3_m3"), part.clean("soil_temp_c"))
        if head.kept is None:
            found += find_wettings(*columns)
        else:
            found += [seen.wetting for seen in kept_wettings(*columns, head.kept)]
    return found


def lead_from_ms(start_ms: int) -> int:
    """From when on to read so that wettings from `start_ms` on are found.

    LEAD_MS before it at the least, and where a block of kept wettings begins: so questions asked hour by hour
    look at the same blocks.
    """
    block_ms = round(BLOCK_S * 1000)
    return (start_ms - LEAD_MS) // block_ms * block_ms


def tray_wettings(series: Sequence[HeadSeries]) -> list[Wetting]:
    """Wettings that the heads of one tray saw; one that several saw counts once, at its largest."""
    return merged([head_wettings(head) for head in series])


def merged(by_head: Sequence[Sequence[Wetting]]) -> list[Wetting]:
    """Wettings of a tray from those of each of its heads."""
    groups = together(dict(enumerate(by_head)))
    return [max((w for _, w in group), key=lambda w: w.rise_m3_m3) for group in groups]


def head_dry_downs(head: HeadSeries, wettings: Sequence[Wetting], mix: Mix, from_s: float) -> list[DryDown]:
    """Dry-downs of one head between its wettings, from `from_s` on."""
    found: list[DryDown] = []
    parts = head.unbroken()
    for n, part in enumerate(parts):
        inside = part.time_s >= from_s
        if not inside.any():
            continue
        first_s, last_s = part.time_s[0], part.time_s[-1]
        mine = dry_downs(
            part.time_s[inside],
            part.clean("moisture_m3_m3")[inside],
            [w for w in wettings if first_s <= w.onset_s <= last_s],
            part.clean("soil_temp_c")[inside],
            container_capacity_m3_m3=mix.container_capacity_m3_m3,
            mid_m3_m3=(mix.container_capacity_m3_m3 + mix.dry_line_m3_m3) / 2,
            fit=fit_dry_down if head.kept is None else partial(kept_fit, head.kept),
        )
        if mine and n + 1 < len(parts):
            mine[-1] = ended_anew(mine[-1])
        found += mine
    return found


def stretches_in_mix(
    head: HeadSeries, wettings: Sequence[Wetting], mix: Mix, from_ms: int, to_ms: int
) -> list[DryDown]:
    """Dry-downs while the tray held the mix."""
    held = head.between((from_ms - LEAD_MS) / 1000, to_ms / 1000)
    found = head_dry_downs(held, wettings, mix, from_ms / 1000)
    if found and to_ms / 1000 in head.breaks_s:
        found[-1] = ended_anew(found[-1])
    return found


def ended_anew(last: DryDown) -> DryDown:
    """The dry-down, saying that it ended with a new mix or calibration rather than with the readings."""
    return replace(last, ended_by=NEW_MIX) if last.ended_by == "end of readings" else last


def joined(wettings: Sequence[Wetting], entries: Sequence[Entry]) -> tuple[Event, ...]:
    """Each journal entry beside the wetting it may explain, nearest pairs first; the others stand alone."""
    reach_s = DEFAULT_RAIN_PARAMS.told_s
    from_s = np.array([wetting.onset_s for wetting in wettings]) - reach_s
    to_s = np.array([wetting.peak_s for wetting in wettings]) + reach_s
    told_s = np.array([entry.at_ms / 1000 for entry in entries])[:, np.newaxis]
    near = np.nonzero((from_s <= told_s) & (told_s <= to_s))
    pairs = sorted(
        (abs(wettings[n].onset_s - entries[k].at_ms / 1000), n, k)
        for k, n in zip(*(found.tolist() for found in near), strict=True)
    )
    partner: dict[int, Entry] = {}
    told: set[int] = set()
    for _, n, k in pairs:
        if n not in partner and k not in told:
            partner[n] = entries[k]
            told.add(k)
    alone = [entry for k, entry in enumerate(entries) if k not in told]
    events: list[Event] = [(w, partner.get(n)) for n, w in enumerate(wettings)]
    keys = [w.onset_s for w in wettings]
    for entry in alone:
        place = bisect.bisect(keys, entry.at_ms / 1000)
        keys.insert(place, entry.at_ms / 1000)
        events.insert(place, (None, entry))
    return tuple(events)


def event_ms(event: Event) -> int:
    """When it happened: the journal knows that the can was lifted, the sensor knows when water reached it."""
    wetting, entry = event
    if wetting is not None:
        return round(wetting.onset_s * 1000)
    assert entry is not None
    return entry.at_ms


def known_from(event: Event) -> str:
    wetting, entry = event
    if wetting is None:
        return "journal"
    return "sensor" if entry is None else "sensor and journal"
