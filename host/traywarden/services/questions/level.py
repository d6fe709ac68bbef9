"""Does a tray stand level? Two heads in it, or trays in one base tray, after watering from below."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from itertools import combinations

import numpy as np

from traywarden.domain.bases import BaseStay, base_stays
from traywarden.domain.garden import Tray
from traywarden.domain.journal import Entry, Kind, Stay
from traywarden.domain.level import BothPlateaus, Level, Side, Verdict, level_of
from traywarden.domain.series import HeadSeries
from traywarden.domain.units import HOUR_S
from traywarden.domain.wetting import WettingKind
from traywarden.errors import ShortOfDataError, UsageError
from traywarden.services.questions.ground import DAY_MS, Ground
from traywarden.services.questions.waterings import TrayWettings, tray_waterings
from traywarden.services.wettings import Event, event_ms
from traywarden.store import probes as probe_store

TOGETHER_S = 3 * HOUR_S
"""Wettings of two trays on one base within this time are one watering (no source)."""
SETTLED_S = (HOUR_S, 6 * HOUR_S)
"""A plateau is the median from the first to the second of these after the last head's peak (no source)."""
LEAST_READINGS = 2


@dataclass(frozen=True, slots=True)
class LevelWatering:
    """What both sides settled at after one watering [% of container capacity]."""

    at: datetime
    how: str
    a_pct: float
    b_pct: float


@dataclass(frozen=True, slots=True)
class Put:
    """How it was put where it stands: the kind of the entry, when, and when that was written down."""

    how: str
    at: datetime
    written: datetime


@dataclass(frozen=True, slots=True)
class PairLevel:
    """Two heads of one tray, or two trays of one base. `since`: from when on nothing was moved.

    `put`: what was last done to how it stands, also where `since` is later, and when that was written down.
    """

    subject: str
    compared: str
    since: datetime
    sentence: str
    level: Level
    waterings: tuple[LevelWatering, ...]
    put: Put | None = None


@dataclass(frozen=True, slots=True)
class LevelAnswer:
    garden: str
    start: datetime
    end: datetime
    pairs: tuple[PairLevel, ...]
    remarks: tuple[str, ...]


def ask_level(ground: Ground, tray: str = "", days: float = 60.0) -> LevelAnswer:
    """Whether a tray (or every tray) stands level, as it stands now.

    Raises UnknownNameError, UsageError (no tray; nothing to compare in the one named), ShortOfDataError
    (nothing was ever measured).
    """
    if not 0 < days <= 3660:
        raise UsageError(f"A span of {days:g} days cannot be used; give --days 60.")
    chosen = ground.chosen_trays(tray)
    ground.need_readings()
    pairs = [*_head_pairs(ground, chosen), *_tray_pairs(ground, chosen)]
    if not pairs:
        what = f"Tray “{chosen[0].name}” has not" if tray else "No tray has"
        raise (UsageError if tray else ShortOfDataError)(
            f"{what} two heads in it, nor stands with another in one base tray; say so with traywarden "
            "probe place PROBE/2 --tray A1 --end north, or traywarden tray base A1 A2"
        )
    start_ms = ground.now_ms - round(days * DAY_MS)
    found = tray_waterings(ground, start_ms, ground.now_ms + 1)
    return LevelAnswer(
        ground.garden.name,
        ground.at(start_ms),
        ground.at(ground.now_ms),
        tuple(_judged(ground, pair, found, start_ms) for pair in pairs),
        (
            "a hand that always waters one end more, and a low end that keeps more after any watering, look "
            "the same after water from above and below, and are not seen",
            "a tray of which one end dries faster is not out of level for it: what counts is where it "
            "settles in the hours after watering",
        ),
    )


@dataclass(frozen=True, slots=True)
class _End:
    side: Side
    tray: Tray
    heads: tuple[str, ...]  # labels; empty: every head of the tray


@dataclass(frozen=True, slots=True)
class _Pair:
    """`since_ms`: from when on it stands as it does; `alike_ms`: from when on both are alike but for that, so
    that waterings from above tell what they always differ by."""

    subject: str
    compared: str
    a: _End
    b: _End
    since_ms: int
    alike_ms: int
    put: Entry | None


def _head_pairs(ground: Ground, trays: Sequence[Tray]) -> list[_Pair]:
    labels = {head.head_id: head.label for head in probe_store.heads(ground.tx)}
    pairs = []
    for tray in trays:
        stays = ground.facts.heads_in_tray(tray.tray_id, ground.now_ms, ground.now_ms + 1)
        for one, other in combinations(stays, 2):
            ends = [
                _End(Side(labels[s.subject], _end_of_head(ground, s)), tray, (labels[s.subject],))
                for s in (one, other)
            ]
            stay_ms = max(one.start_ms, other.start_ms)
            since_ms, alike_ms, put = _since(ground, [tray], stay_ms)
            pairs.append(_Pair(tray.name, "heads", ends[0], ends[1], since_ms, alike_ms, put))
    return pairs


def _tray_pairs(ground: Ground, chosen: Sequence[Tray]) -> list[_Pair]:
    wanted = {tray.tray_id for tray in chosen}
    bases: dict[str, list[BaseStay]] = {}
    for stay in base_stays(ground.facts.entries):
        if stay.holds_at(ground.now_ms):
            bases.setdefault(stay.base, []).append(stay)
    pairs = []
    for base, stays in bases.items():
        for one, other in combinations(sorted(stays, key=lambda s: (s.row, s.tray_id)), 2):
            if not {one.tray_id, other.tray_id} & wanted:
                continue
            trays = [ground.trays[s.tray_id] for s in (one, other)]
            if not all(_has_head(ground, tray) for tray in trays):
                continue
            ends = [
                _End(Side(tray.name, s.end), tray, ()) for tray, s in zip(trays, (one, other), strict=True)
            ]
            stay_ms = max(one.start_ms, other.start_ms)
            since_ms, alike_ms, put = _since(ground, trays, stay_ms, Kind.ON_BASE)
            pairs.append(_Pair(f"base {base}", "trays", ends[0], ends[1], since_ms, alike_ms, put))
    return pairs


def _has_head(ground: Ground, tray: Tray) -> bool:
    return bool(ground.facts.heads_in_tray(tray.tray_id, ground.now_ms, ground.now_ms + 1))


def _since(ground: Ground, trays: Sequence[Tray], stay_ms: int, *more: Kind) -> tuple[int, int, Entry | None]:
    """From when on they stand as they do, and are alike but for that; and what was last done to it."""
    anew = _last_put(ground, trays, Kind.MOVED, Kind.FILLED, *more)
    put = _last_put(ground, trays, Kind.MOVED, Kind.FILLED, *more, Kind.LEVELLED)
    alike_ms = max(stay_ms, anew.at_ms if anew else 0)
    return max(alike_ms, put.at_ms if put else 0), alike_ms, put


def _last_put(ground: Ground, trays: Sequence[Tray], *kinds: Kind) -> Entry | None:
    """The last entry of one of these kinds about these trays."""
    done = [e for tray in trays for e in ground.facts.of_tray(tray.tray_id, *kinds)]
    return max(
        (e for e in done if e.at_ms <= ground.now_ms), key=lambda e: (e.at_ms, e.entry_id), default=None
    )


def _end_of_head(ground: Ground, stay: Stay) -> str:
    placed: list[Entry] = [
        e
        for e in ground.facts.entries
        if e.kind is Kind.HEAD_PLACED and e.head_id == stay.subject and e.at_ms == stay.start_ms
    ]
    return str(placed[-1].data.get("end", "")) if placed else ""


def _judged(ground: Ground, pair: _Pair, found: dict[int, TrayWettings], start_ms: int) -> PairLevel:
    since_ms = max(pair.since_ms, start_ms)
    rows = [
        (how, p)
        for how, p in _plateaus(ground, pair, found, max(pair.alike_ms, start_ms))
        if p.at_s * 1000 >= since_ms or not p.from_below
    ]
    mixes = [ground.mix_of(end.tray.tray_id, ground.now_ms) for end in (pair.a, pair.b)]
    series = [_series(found[end.tray.tray_id], end) for end in (pair.a, pair.b)]
    own = all(head.moisture_calibrated for side in series for head in side)
    same_scale = own and all(series) and mixes[0] is not None and mixes[0] == mixes[1]
    judged = level_of(pair.a.side, pair.b.side, [p for _, p in rows], same_scale=same_scale)
    return PairLevel(
        pair.subject,
        pair.compared,
        ground.at(since_ms),
        level_words(pair.subject, judged),
        judged,
        tuple(
            LevelWatering(ground.at(p.at_s * 1000), how, round(p.a_pct, 1), round(p.b_pct, 1))
            for how, p in rows
        ),
        Put(pair.put.kind.value, ground.at(pair.put.at_ms), ground.at(pair.put.written_ms))
        if pair.put
        else None,
    )


def level_words(subject: str, found: Level) -> str:
    """The verdict in one sentence."""
    below, seen = found.waterings, found.a_less_b_pct
    if found.verdict is Verdict.OUT_OF_LEVEL and found.drier is not None and seen.estimate is not None:
        other = found.b if found.drier is found.a else found.a
        times = found.signs.below if found.drier is found.a else found.signs.above
        return (
            f"{subject} stands out of level, high towards {found.drier.where}: there it stays drier than at "
            f"{other.where} in {times} of {below} waterings from below, by {abs(seen.estimate):.0f} % of "
            f"container capacity ({_span(found)}). Lower that end, or raise the other."
        )
    if found.verdict is Verdict.LEVEL and seen.estimate is not None:
        return (
            f"{subject} stands level as far as {below} waterings from below show: {found.a.where} less "
            f"{found.b.where} is {seen.estimate:+.0f} % of container capacity ({_span(found)})."
        )
    if found.before and seen.estimate is not None:
        return (
            f"{subject} stood out of level in {found.before} waterings from below and seems to have been put "
            f"level since: in the newest {below}, {found.a.where} less {found.b.where} is "
            f"{seen.estimate:+.0f} % of container capacity."
        )
    sides = f"{found.a.where} against {found.b.where}"
    return f"{subject}: cannot tell yet whether it stands level ({sides}); {found.reason}."


def _span(found: Level) -> str:
    seen = found.a_less_b_pct
    if seen.low is None or seen.high is None:
        return seen.reason
    if found.drier is found.a:
        return f"{-seen.high:.0f} to {-seen.low:.0f}"
    return f"{seen.low:.0f} to {seen.high:.0f}"


def _series(found: TrayWettings, end: _End) -> list[HeadSeries]:
    return [head for head in found.series if not end.heads or head.label in end.heads]


def _plateaus(
    ground: Ground, pair: _Pair, found: dict[int, TrayWettings], since_ms: int
) -> list[tuple[str, BothPlateaus]]:
    """How each watering came, and what both sides settled at after it."""
    trays = {end.tray.tray_id for end in (pair.a, pair.b)}
    events = [(t, event) for t in trays for event in found[t].events if event_ms(event) >= since_ms]
    events.sort(key=lambda pair: event_ms(pair[1]))
    groups: list[list[tuple[int, Event]]] = []
    last_ms = -np.inf
    for tray_id, event in events:
        if event_ms(event) - last_ms > TOGETHER_S * 1000:
            groups.append([])
            last_ms = event_ms(event)
        groups[-1].append((tray_id, event))
    rows: list[tuple[str, BothPlateaus]] = []
    starts = [event_ms(group[0][1]) / 1000 for group in groups]
    for n, group in enumerate(groups):
        how = _how(group, trays)
        if not how:
            continue
        until_s = starts[n + 1] if n + 1 < len(groups) else np.inf
        window = _window(pair, found, starts[n], until_s)
        values = [_settled_pct(ground, found, end, *window) for end in (pair.a, pair.b)]
        if values[0] is not None and values[1] is not None:
            rows.append((how, BothPlateaus(starts[n], how == "from below", values[0], values[1])))
    return rows


def _how(group: Sequence[tuple[int, Event]], trays: set[int]) -> str:
    """“from below” if any tray was; “from above” if every tray was wetted so, by hand or by rain."""
    kinds: dict[int, set[WettingKind]] = {}
    for tray_id, event in group:
        wetting, entry = event
        if wetting is not None:
            kinds.setdefault(tray_id, set()).add(wetting.kind)
        elif entry is not None and entry.data.get("how") == "below":
            kinds.setdefault(tray_id, set()).add(WettingKind.FROM_BELOW)
    seen: set[WettingKind] = set().union(*kinds.values())
    if WettingKind.FROM_BELOW in seen:
        return "from below"
    above = {WettingKind.FROM_ABOVE, WettingKind.RAIN}
    return "from above" if seen and seen <= above and kinds.keys() == trays else ""


def _window(
    pair: _Pair, found: dict[int, TrayWettings], start_s: float, until_s: float
) -> tuple[float, float]:
    """From an hour after the last head's peak for five hours, or until the next watering."""
    peaks = [
        wetting.peak_s
        for end in (pair.a, pair.b)
        for wettings in found[end.tray.tray_id].by_head
        for wetting in wettings
        if start_s - HOUR_S <= wetting.onset_s <= start_s + TOGETHER_S
    ]
    peak_s = max(peaks, default=start_s)
    return peak_s + SETTLED_S[0], min(peak_s + SETTLED_S[1], until_s)


def _settled_pct(
    ground: Ground, found: dict[int, TrayWettings], end: _End, from_s: float, until_s: float
) -> float | None:
    """The side's moisture in the window [% of container capacity]; of several heads the mean of theirs."""
    mix = ground.mix_of(end.tray.tray_id, round(from_s * 1000))
    medians = []
    for head in _series(found[end.tray.tray_id], end):
        times, moisture = head.used("moisture_m3_m3")
        mine = moisture[(times >= from_s) & (times < until_s)]
        if mine.size >= LEAST_READINGS:
            medians.append(float(np.median(mine)))
    if mix is None or not medians:
        return None
    return float(np.mean(medians)) / mix.container_capacity_m3_m3 * 100
