"""How wet each tray is in terms that mean something, and what its heads show of themselves over weeks."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime

from traywarden.domain.bootstrap import Interval
from traywarden.domain.garden import Mix, Tray
from traywarden.domain.journal import Kind
from traywarden.domain.moisture import NOT_CALIBRATED
from traywarden.domain.moisture_scale import LEVELS, MAPPING_SOURCE, SCALE_SOURCE
from traywarden.domain.plateaus import Capacity, drifts, pooled_capacity
from traywarden.errors import UsageError
from traywarden.services.questions.ground import DAY_MS, Ground
from traywarden.services.questions.moisture_head import (
    HeadMoisture,
    epoch_ms,
    head_moisture,
    levels_from,
    rounded,
)
from traywarden.store import probes as probe_store

DEFAULT_DAYS = 120.0
NO_HEAD = "no head is in it: place one with “traywarden probe place”"
ENDS = (1, 5)
"""Levels at which a tray is always named: dry and saturated."""
MOST_NAMED = 16
WORTH_SAYING_M3_M3 = 0.01
"""A learned container capacity that differs by less is not offered in place of the set one (no source)."""


@dataclass(frozen=True, slots=True)
class TrayMoisture:
    tray: str
    place: str | None
    mix: str | None
    heads: tuple[HeadMoisture, ...]
    says: str


@dataclass(frozen=True, slots=True)
class MixCapacity:
    """A mix's container capacity as it is set, and as its heads show it [m³/m³]."""

    mix: str
    set_m3_m3: float
    learned_m3_m3: float | None
    low_m3_m3: float | None
    high_m3_m3: float | None
    heads: int
    waterings: int
    differs: bool
    reason: str


@dataclass(frozen=True, slots=True)
class MoistureAnswer:
    garden: str
    sentence: str
    start: datetime
    end: datetime
    trays: tuple[TrayMoisture, ...]
    mixes: tuple[MixCapacity, ...]
    levels_from: tuple[float, ...]
    scale_source: str
    mapping_source: str
    remarks: tuple[str, ...]


def ask_moisture(ground: Ground, tray: str = "", days: float = DEFAULT_DAYS) -> MoistureAnswer:
    """Moisture of one tray or all, and what the heads show of capacity, drift and temperature.

    Raises UnknownNameError, UsageError (no tray yet; a span of nothing; levels that do not rise),
    ShortOfDataError (nothing was ever measured).
    """
    chosen = ground.chosen_trays(tray)
    if days <= 0:
        raise UsageError(f"A span of {days:g} days holds nothing; give --days {DEFAULT_DAYS:g}.")
    ground.need_readings()
    found = [_tray(ground, each, days) for each in chosen]
    mixes = _mixes(ground, [(t, heads) for t, heads in found])
    remarks = []
    raw = sorted({t.tray for t, _ in found if any(not h.calibrated for h in t.heads)})
    if raw:
        remarks.append(f"{NOT_CALIBRATED}: {', '.join(raw)}; their numbers may be off by much")
    remarks += _outdated(ground, chosen)
    return MoistureAnswer(
        ground.garden.name,
        _sentence([t for t, _ in found]),
        ground.at(ground.now_ms - round(days * DAY_MS)),
        ground.at(ground.now_ms),
        tuple(t for t, _ in found),
        mixes,
        levels_from(ground),
        SCALE_SOURCE,
        MAPPING_SOURCE,
        tuple(remarks),
    )


def mix_capacity(ground: Ground, mix: Mix, tray: str = "", days: float = DEFAULT_DAYS) -> MixCapacity | None:
    """What the heads in a mix, or in one tray with it, show of its capacity; None without any head."""
    found = [_tray(ground, each, days) for each in ground.chosen_trays(tray)]
    return next((m for m in _mixes(ground, found) if m.mix == mix.name), None)


def _outdated(ground: Ground, trays: Sequence[Tray]) -> Iterator[str]:
    """Accepted container capacities that hold no more, as heads were calibrated anew."""
    for tray in trays:
        mix = ground.mix_of(tray.tray_id, ground.now_ms)
        accepted = ground.facts.of_tray(tray.tray_id, Kind.CAPACITY_ACCEPTED)
        accepted += [e for e in ground.facts.entries if e.kind is Kind.CAPACITY_ACCEPTED and not e.tray_id]
        known = [e for e in accepted if mix and e.mix_id == mix.mix_id and e.at_ms <= ground.now_ms]
        newest = max(known, key=lambda e: (e.tray_id is not None, e.at_ms, e.entry_id), default=None)
        if mix and newest and ground.facts.outdated(newest, tray.tray_id, ground.now_ms):
            value = newest.data["container_capacity_m3_m3"]
            yield (
                f"{tray.name}: the container capacity of {value:.3g} m³/m³ accepted on "
                f"{ground.at(newest.at_ms):%Y-%m-%d} holds no more, as a head it was learned from is read by "
                f"another calibration now; {mix.container_capacity_m3_m3:.3g} holds until you accept anew"
            )


def _sentence(trays: Sequence[TrayMoisture]) -> str:
    """All trays by name, the driest first; of very many only those at either end."""
    if len(trays) == 1:
        return f"{trays[0].says}."
    by_level: dict[int, list[str]] = {}
    for tray in trays:
        by_level.setdefault(_level_number(tray), []).append(tray.tray)
    few = len(trays) <= MOST_NAMED
    parts = [
        f"{level.name[:1].upper()}{level.name[1:]}: {_named(mine, all_of_them=few or level.number in ENDS)}."
        for level in LEVELS
        if (mine := by_level.get(level.number, []))
    ]
    why = {tray.tray: tray.says.partition("(")[2].removesuffix(")") for tray in trays}
    for reason in dict.fromkeys(why[name] for name in by_level.get(0, [])):
        unknown = [name for name in by_level[0] if why[name] == reason]
        parts.append(f"Not known: {', '.join(unknown)}, as {reason}.")
    return " ".join(parts)


def _named(trays: Sequence[str], *, all_of_them: bool) -> str:
    return ", ".join(trays) if all_of_them else f"{len(trays)} trays"


def _level_number(tray: TrayMoisture) -> int:
    """Of its driest head; 0 where it is not known."""
    told = [h for h in tray.heads if h.level is not None]
    driest = min(told, key=lambda h: h.part or 0.0, default=None)
    return driest.level.number if driest is not None and driest.level is not None else 0


_Found = tuple[TrayMoisture, list[Capacity]]


def _tray(ground: Ground, tray: Tray, days: float) -> _Found:
    mix = ground.mix_of(tray.tray_id, ground.now_ms)
    place = ground.place_of(tray.tray_id, ground.now_ms)
    ids = {head.label: head.head_id for head in probe_store.heads(ground.tx)}
    heads: list[HeadMoisture] = []
    shown: list[Capacity] = []
    for hours in ground.tray_hourly(tray.tray_id, ground.now_ms - round(days * DAY_MS), ground.now_ms + 1):
        since_ms = epoch_ms(ground, ids[hours.label], tray.tray_id)
        if since_ms is None:
            continue  # it was in the tray once, and is no longer
        one, capacity = head_moisture(ground, mix, ids[hours.label], hours, since_ms)
        heads.append(one)
        shown.append(capacity)
    place_name, mix_name = place.name if place else None, mix.name if mix else None
    return TrayMoisture(tray.name, place_name, mix_name, tuple(heads), _says(tray, heads)), shown


def _says(tray: Tray, heads: Sequence[HeadMoisture]) -> str:
    told = [h for h in heads if h.part is not None and h.level is not None]
    if not told:
        why = next((h.trouble for h in heads if h.trouble), NO_HEAD)
        return f"{tray.name}: not known ({why})"
    driest = min(told, key=lambda h: h.part or 0.0)
    assert driest.part is not None
    assert driest.level is not None
    where = f" at {driest.head}, the driest of {len(told)} heads" if len(told) > 1 else ""
    return (
        f"{tray.name}: level {driest.level.number}, {driest.level.name}{where} "
        f"({max(driest.part, 0) * 100:.0f} % of the way from dry to container capacity)"
    )


def _mixes(ground: Ground, found: Sequence[_Found]) -> tuple[MixCapacity, ...]:
    by_mix: dict[str, list[Capacity]] = {}
    for tray, shown in found:
        if tray.mix is not None:
            by_mix.setdefault(tray.mix, []).extend(shown)
    own = {mix.name: mix for mix in ground.mixes.values()}
    return tuple(_mix(ground, own[name], by_mix[name]) for name in sorted(by_mix))


def _mix(ground: Ground, mix: Mix, shown: Sequence[Capacity]) -> MixCapacity:
    pooled: Interval = pooled_capacity(shown)
    counted = [c for c in shown if c.told and not drifts(c)]
    set_m3_m3 = ground.facts.mix_as_held(mix, None, ground.now_ms).container_capacity_m3_m3
    return MixCapacity(
        mix.name,
        set_m3_m3,
        rounded(pooled.estimate),
        rounded(pooled.low),
        rounded(pooled.high),
        pooled.n,
        sum(len(c.thorough) for c in counted),
        _differs(pooled, set_m3_m3),
        pooled.reason,
    )


def _differs(pooled: Interval, set_m3_m3: float) -> bool:
    if pooled.estimate is None or pooled.low is None or pooled.high is None:
        return False
    outside = not pooled.low <= set_m3_m3 <= pooled.high
    return outside and abs(pooled.estimate - set_m3_m3) >= WORTH_SAYING_M3_M3
