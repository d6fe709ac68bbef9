"""What a cover does: its gain by night and day, hours too hot, openings seen and whether in time."""

from dataclasses import dataclass
from datetime import date, datetime, timedelta

import numpy as np

from traywarden.domain.alignment import interpolated
from traywarden.domain.bootstrap import Interval
from traywarden.domain.comparison import Comparison
from traywarden.domain.days import day_start_ms
from traywarden.domain.frames import OpenerWork, hot_spells, hours_above, opener_work
from traywarden.domain.garden import Place, PlaceKind
from traywarden.domain.journal import Entry, Kind
from traywarden.domain.lids import LID, VENTS, LidParams, Opening, find_openings
from traywarden.domain.places import PlaceClimate, compare
from traywarden.domain.series import together
from traywarden.domain.units import Display
from traywarden.errors import ShortOfDataError, UsageError
from traywarden.services.position import position_of
from traywarden.services.questions.days import span_of
from traywarden.services.questions.ground import Ground
from traywarden.services.questions.place_record import OPEN_KINDS
from traywarden.store import garden as garden_store

DEFAULT_DAYS = 30
PUBLISHED_NIGHT_C = (3.0, 6.0)
PUBLISHED_NIGHT = (
    "an unheated frame is usually only 3–6 °C (5–10 °F) above the air outside by night "
    "(Univ. of Missouri Extension G6965)"
)
VENT_SOURCE = (
    "a setting, frames.vent_above_c; the default, 27 °C, is common practice (a general reference page)"
)
JOINED_S = 2 * 3600.0
"""A “vented” in the journal this near an opening is that opening: people write it down later (no source)."""


@dataclass(frozen=True, slots=True)
class SeenOpening:
    """One opening, from the record, the journal or both. Temperatures [°C]; None where not seen."""

    opened: datetime
    closed: datetime | None
    opened_at_c: float | None
    closed_at_c: float | None
    outside_c: float | None
    fell_pct: float | None
    known_from: str
    note: str


@dataclass(frozen=True, slots=True)
class FrameAsked:
    """A covered place; the open one (default the one best measured); days (default the last thirty)."""

    frame: str
    against: str = ""
    start: date | None = None
    end: date | None = None


@dataclass(frozen=True, slots=True)
class FrameAnswer:
    """`gain` is the frame − the open place; `night` sets a cold frame's beside the published one."""

    garden: str
    frame: str
    against: str
    sentence: str
    gain: Comparison
    night: str
    vent_above_c: float
    hot_h: float
    known_h: float
    work: OpenerWork
    openings: tuple[SeenOpening, ...]
    remarks: tuple[str, ...]


def ask_frame(ground: Ground, asked: FrameAsked) -> FrameAnswer:
    """What a covered place gains over an open one, how hot it gets, and when it was opened.

    Raises UnknownNameError, UsageError (not covered; no open place), ShortOfDataError (no air measured).
    """
    frame = garden_store.place_named(ground.tx, asked.frame)
    if not frame.covered:
        raise UsageError(
            f"“{frame.name}” is not covered ({frame.kind}); ask about a frame, or compare places with: "
            "traywarden places compare"
        )
    ground.need_readings()
    first, last = span_of(ground, asked.start, asked.end, DEFAULT_DAYS)
    start_ms = day_start_ms(first, ground.zone)
    end_ms = min(day_start_ms(last + timedelta(days=1), ground.zone), ground.now_ms + 1)
    inside = _air(ground, frame, start_ms, end_ms)
    other = _open_place(ground, asked.against, frame, start_ms, end_ms)
    outside = _air(ground, other, start_ms, end_ms)
    settings = ground.settings
    position = position_of(ground)
    gain = compare(
        inside,
        outside,
        ground.zone,
        start_s=start_ms / 1000,
        end_s=end_ms / 1000,
        latitude_deg=position.latitude_deg,
        longitude_deg=position.longitude_deg,
        least_coverage=settings["coverage.least"],
        longest_gap_s=settings["coverage.longest_gap_s"],
    )
    above_c = settings["frames.vent_above_c"]
    gap_s = settings["coverage.longest_gap_s"]
    hot_h, known_h = hours_above(inside.time_s, inside.temp_c, above_c, gap_s)
    params = lid_params(ground, frame)
    openings = find_openings(inside.time_s, inside.temp_c, outside.time_s, outside.temp_c, params)
    told = [
        e
        for e in ground.facts.entries
        if e.kind is Kind.VENTED and e.place_id == frame.place_id and start_ms <= e.at_ms < end_ms
    ]
    spells = hot_spells(inside.time_s, inside.temp_c, above_c, gap_s)
    work = opener_work(spells, openings, [e.at_ms / 1000 for e in told], ground.zone)
    return FrameAnswer(
        ground.garden.name,
        frame.name,
        other.name,
        frame_words(frame.name, other.name, gain, work, hot_h, above_c, ground.display),
        gain,
        night_words(gain.night_difference_c, ground.display) if frame.kind is PlaceKind.COLD_FRAME else "",
        above_c,
        round(hot_h, 2),
        round(known_h, 2),
        work,
        _joined(ground, openings, told, inside, outside),
        _remarks(ground, frame, inside, outside),
    )


def frame_words(
    frame: str,
    other: str,
    gain: Comparison,
    work: OpenerWork,
    hot_h: float,
    above_c: float,
    display: Display,
) -> str:
    """The answer in one sentence."""
    night, day = gain.night_difference_c, gain.day_difference_c
    words = f"{frame} was {_gain(night, display)} by night and {_gain(day, display)} by day than {other}"
    hot = f"above {display.limit(above_c)} for {hot_h:.0f} h: " if hot_h >= 1 else ""
    return f"{words}; {hot}{work.verdict}."


def night_words(night: Interval, display: Display) -> str:
    """How the night gain stands to the published one."""
    low_c, high_c = PUBLISHED_NIGHT_C
    if night.low is None or night.high is None:
        return f"Too few whole days to set against the published figure: {PUBLISHED_NIGHT}."
    if night.high < low_c:
        verdict = "Less than published"
    elif night.low > high_c:
        verdict = "More than published: it is heated, or the two sensors do not stand alike"
    elif low_c <= night.low and night.high <= high_c:
        verdict = "As published"
    else:
        verdict = "Not told apart from what is published"
    span = f"{display.temp_difference(night.low)} to {display.temp_difference(night.high)}"
    return f"{verdict} ({span}): {PUBLISHED_NIGHT}."


def _gain(interval: Interval, display: Display) -> str:
    if interval.estimate is None:
        return "not known"
    size = display.temp_difference(abs(interval.estimate)).lstrip("+")
    words = f"{size} {'warmer' if interval.estimate >= 0 else 'colder'}"
    if interval.low is None or interval.high is None:
        return words
    ends = (display.temp_difference(end).split(" ")[0] for end in (interval.low, interval.high))
    return f"{words} ({' to '.join(ends)})"


def _air(ground: Ground, place: Place, start_ms: int, end_ms: int) -> PlaceClimate:
    time_s, temp_c = together(ground.place_heads(place.place_id, "air", start_ms, end_ms), "air_temp_c")
    if not time_s.size:
        raise ShortOfDataError(
            f"No air temperature was measured in “{place.name}” in this span; hang a head there with "
            f'traywarden probe place PROBE/0 --place "{place.name}", or ask about another span with --from.'
        )
    return PlaceClimate(place.name, time_s, temp_c)


def _open_place(ground: Ground, name: str, frame: Place, start_ms: int, end_ms: int) -> Place:
    if name:
        place = garden_store.place_named(ground.tx, name)
        if place.place_id == frame.place_id:
            raise UsageError(f"“{frame.name}” cannot be held against itself; name an open place.")
        return place
    found = [
        (place.kind in OPEN_KINDS, size, place)
        for place in ground.places.values()
        if not place.covered and (size := _readings(ground, place, start_ms, end_ms))
    ]
    if not found:
        raise ShortOfDataError(
            "No air temperature was measured in any open place in this span, and a frame is judged against "
            "one; hang a head on the open bench, or ask about another span with --from."
        )
    return max(found, key=lambda pair: pair[:2])[2]


def _readings(ground: Ground, place: Place, start_ms: int, end_ms: int) -> int:
    heads = ground.place_heads(place.place_id, "air", start_ms, end_ms)
    return sum(head.used("air_temp_c")[0].size for head in heads)


def lid_params(ground: Ground, frame: Place) -> LidParams:
    """A frame opens its whole lid; a house its vents."""
    small = frame.kind is PlaceKind.COLD_FRAME
    part = ground.settings["frames.lid_falls_by" if small else "frames.vents_fall_by"]
    base = LID if small else VENTS
    return LidParams(**{**_fields(base), "fall_part": part})


def _fields(params: LidParams) -> dict[str, float]:
    return {name: getattr(params, name) for name in LidParams.__dataclass_fields__}


def _joined(
    ground: Ground,
    openings: list[Opening],
    told: list[Entry],
    inside: PlaceClimate,
    outside: PlaceClimate,
) -> tuple[SeenOpening, ...]:
    """What was seen beside what was written down, nearest pairs first."""
    pairs = sorted(
        (abs(o.opened_s - e.at_ms / 1000), n, k) for n, o in enumerate(openings) for k, e in enumerate(told)
    )
    partner: dict[int, Entry] = {}
    taken: set[int] = set()
    for apart_s, n, k in pairs:
        if apart_s <= JOINED_S and n not in partner and k not in taken:
            partner[n] = told[k]
            taken.add(k)
    rows = [_seen(ground, o, partner.get(n)) for n, o in enumerate(openings)]
    gap_s = ground.settings["coverage.longest_gap_s"]
    for entry in (e for k, e in enumerate(told) if k not in taken):
        at_s = [entry.at_ms / 1000]
        inside_c, outside_c = (
            float(interpolated(place.time_s, place.temp_c, at_s, gap_s)[0]) for place in (inside, outside)
        )
        rows.append(
            SeenOpening(
                ground.at(entry.at_ms),
                None,
                None if np.isnan(inside_c) else round(inside_c, 2),
                None,
                None if np.isnan(outside_c) else round(outside_c, 2),
                None,
                "journal",
                entry.note,
            )
        )
    return tuple(sorted(rows, key=lambda row: row.opened))


def _seen(ground: Ground, opening: Opening, entry: Entry | None) -> SeenOpening:
    return SeenOpening(
        ground.at(opening.opened_s * 1000),
        None if opening.closed_s is None else ground.at(opening.closed_s * 1000),
        round(opening.opened_at_c, 2),
        None if opening.closed_at_c is None else round(opening.closed_at_c, 2),
        round(opening.outside_c, 2),
        round(opening.fell_part * 100, 1),
        "record" if entry is None else "record and journal",
        "" if entry is None else entry.note,
    )


def _remarks(ground: Ground, frame: Place, inside: PlaceClimate, outside: PlaceClimate) -> tuple[str, ...]:
    remarks = [
        "an opening shows as a sudden fall of the air under the cover towards the air outside; a dark cloud "
        "can look like one, and a lid lifted while it is no warmer inside does not show"
    ]
    if stand_in := position_of(ground).stand_in:
        remarks.append(stand_in)
    spacing_s = float(np.median(np.diff(inside.time_s))) if inside.time_s.size > 1 else 0.0
    if spacing_s > 600:
        remarks.append(
            f"readings every {spacing_s / 60:.0f} min miss openings that are shorter; with the setting "
            "probes.read_s at 300 they show"
        )
    if frame.kind is PlaceKind.COLD_FRAME:
        remarks.append(
            "no record of a frame with known openings was found to check this on; a glasshouse was"
        )
    return tuple(remarks)
