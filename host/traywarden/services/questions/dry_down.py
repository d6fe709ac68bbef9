"""How fast the mixes dry: by stretch between two wettings, and by mix; what is not known is said."""

import math
from dataclasses import dataclass, replace
from datetime import datetime

from traywarden.domain.bootstrap import Interval
from traywarden.domain.dry_down import DryDown
from traywarden.domain.garden import Mix, Tray
from traywarden.domain.journal import CAPACITY_TURNS
from traywarden.domain.mixes import MixStretch, MixSummary, by_mix, mean_over
from traywarden.domain.moisture import NOT_CALIBRATED
from traywarden.domain.psychrometrics import vpd_kpa
from traywarden.domain.series import FloatArray, HeadSeries
from traywarden.errors import UsageError
from traywarden.services.questions.ground import DAY_MS, Ground
from traywarden.services.wettings import LEAD_MS, ended_anew, head_dry_downs, head_wettings
from traywarden.store import garden as garden_store

DAY_S = 86_400.0


@dataclass(frozen=True, slots=True)
class Stretch:
    """One dry-down. Times in days, moistures in % of container capacity; None where it cannot tell."""

    tray: str
    head: str
    mix: str
    place: str | None
    start: datetime
    end: datetime
    days: float
    first_pct: float
    last_pct: float
    tau_days: float | None
    tau_error_days: float | None
    half_life_days: float | None
    rate_pct_per_day: float | None
    r2: float | None
    residual_m3_m3: float | None
    mean_vpd_kpa: float | None
    ended_by: str
    reason: str


@dataclass(frozen=True, slots=True)
class Median:
    """A median over stretches with its 95 % interval, clustered by tray; `reason` says why it has none."""

    median: float | None
    low: float | None
    high: float | None
    n: int
    reason: str


@dataclass(frozen=True, slots=True)
class MixDryDown:
    mix: str
    stretches: int
    trays: int
    too_short: int
    tau_days: Median
    rate_pct_per_day: Median
    rate_pct_per_day_kpa: Median
    moisture_calibrated: bool
    reason: str


@dataclass(frozen=True, slots=True)
class DryDownAnswer:
    garden: str
    start: datetime
    end: datetime
    mixes: tuple[MixDryDown, ...]
    stretches: tuple[Stretch, ...]
    remarks: tuple[str, ...]


def ask_dry_down(ground: Ground, *, mix: str = "", tray: str = "", days: float = 60.0) -> DryDownAnswer:
    """Dry-downs of the last so many days, of one mix or tray or all.

    Raises UnknownNameError, UsageError (no tray yet), ShortOfDataError (nothing was ever measured).
    """
    only = garden_store.mix_named(ground.tx, mix).mix_id if mix else None
    trays = ground.chosen_trays(tray)
    if days <= 0:
        raise UsageError(f"A span of {days:g} days holds nothing; give --days 60.")
    ground.need_readings()
    start_ms, end_ms = ground.now_ms - round(days * DAY_MS), ground.now_ms + 1
    air = _Air(ground, start_ms, end_ms)
    rows: list[tuple[Stretch, MixStretch]] = []
    uncalibrated: set[str] = set()
    remarks: list[str] = []
    for each in trays:
        found, guessed = _of_tray(ground, each, start_ms, end_ms, only, air)
        rows += found
        uncalibrated |= guessed
        if not ground.facts.heads_in_tray(each.tray_id, start_ms, end_ms):
            remarks.append(f"{each.name}: no head was in it")
        elif not any(s.subject == each.tray_id for s in ground.facts.tray_mixes):
            remarks.append(f"{each.name}: no mix is written down, so its readings count for none")
    if uncalibrated:
        remarks.append(f"{', '.join(sorted(uncalibrated))}: {NOT_CALIBRATED}, so rates may be off by much")
    summaries = by_mix(pair for _, pair in rows)
    return DryDownAnswer(
        ground.garden.name,
        ground.at(start_ms),
        ground.at(ground.now_ms),
        tuple(_mix(s, s.mix not in uncalibrated) for s in summaries),
        tuple(sorted((row for row, _ in rows), key=lambda r: (r.mix, r.tray, r.start))),
        tuple(remarks),
    )


class _Air:
    """Vapour-pressure deficit of the places, read once each."""

    def __init__(self, ground: Ground, start_ms: int, end_ms: int) -> None:
        self._ground, self._span = ground, (start_ms, end_ms)
        self._known: dict[int, list[tuple[FloatArray, FloatArray]]] = {}

    def mean_vpd_kpa(self, place_id: int | None, start_s: float, end_s: float) -> float | None:
        """Mean over the stretch; of several air sensors the one that knows, the first placed first."""
        if place_id is None:
            return None
        if place_id not in self._known:
            found = self._ground.place_heads(place_id, "air", *self._span)
            self._known[place_id] = [
                (head.time_s, vpd_kpa(head.clean("air_temp_c"), head.clean("rh_pct"))) for head in found
            ]
        means = (mean_over(t, v, start_s, end_s) for t, v in self._known[place_id])
        return next((mean for mean in means if mean is not None), None)


def _of_tray(
    ground: Ground, tray: Tray, start_ms: int, end_ms: int, only: int | None, air: _Air
) -> tuple[list[tuple[Stretch, MixStretch]], set[str]]:
    """Stretches of a tray for each mix it held, and the mixes whose moisture rests on the default line."""
    rows: list[tuple[Stretch, MixStretch]] = []
    uncalibrated: set[str] = set()
    wanted = [s for s in ground.facts.tray_mixes if s.subject == tray.tray_id and only in (None, s.where)]
    spans = [(ground.mixes[s.where], span) for s in wanted if (span := s.overlap(start_ms, end_ms))]
    if not spans:
        return [], set()
    for head in ground.tray_series(tray.tray_id, start_ms - LEAD_MS, end_ms):
        for mix, (from_ms, to_ms) in spans:
            for held, found in _as_held(ground, tray, head, mix, from_ms, to_ms):
                middle_ms = round((found.start_s + found.end_s) * 500)
                place = ground.place_of(tray.tray_id, middle_ms)
                vpd = air.mean_vpd_kpa(place.place_id if place else None, found.start_s, found.end_s)
                row = _row(ground, tray, head.label, held, place.name if place else None, found, vpd)
                rows.append((row, MixStretch(mix.name, tray.name, found, vpd)))
                if not head.moisture_calibrated:
                    uncalibrated.add(mix.name)
    return rows, uncalibrated


def _as_held(
    ground: Ground, tray: Tray, head: HeadSeries, mix: Mix, from_ms: int, to_ms: int
) -> list[tuple[Mix, DryDown]]:
    """Dry-downs, each with the mix as it held in the tray when the stretch began."""

    def held_at(at_ms: int) -> Mix:
        return ground.facts.mix_as_held(mix, tray.tray_id, at_ms)

    turns = (e.at_ms for e in ground.facts.entries if e.kind in CAPACITY_TURNS)
    capacities = {held_at(at_ms).container_capacity_m3_m3 for at_ms in (from_ms, *turns, to_ms)}
    return [
        (held, found)
        for held in (replace(mix, container_capacity_m3_m3=each) for each in sorted(capacities))
        for found in _stretches(head, held, from_ms, to_ms)
        if held_at(round(found.start_s * 1000)) == held
    ]


def _stretches(head: HeadSeries, mix: Mix, from_ms: int, to_ms: int) -> list[DryDown]:
    """Dry-downs while the tray held the mix, looked at with the days before."""
    wide = head.between((from_ms - LEAD_MS) / 1000, to_ms / 1000)
    found = head_dry_downs(wide, head_wettings(wide), mix, from_ms / 1000)
    if found and to_ms / 1000 in head.breaks_s:
        found[-1] = ended_anew(found[-1])
    return found


def _row(
    ground: Ground, tray: Tray, head: str, mix: Mix, place: str | None, found: DryDown, vpd: float | None
) -> Stretch:
    capacity = mix.container_capacity_m3_m3
    return Stretch(
        tray.name,
        head,
        mix.name,
        place,
        ground.at(found.start_s * 1000),
        ground.at(found.end_s * 1000),
        round(found.span_s / DAY_S, 2),
        round(found.first_m3_m3 / capacity * 100, 1),
        round(found.last_m3_m3 / capacity * 100, 1),
        _days(found.tau_s),
        _days(found.tau_error_s),
        _days(found.half_life_s),
        _rounded(found.rate_pct_per_day, 2),
        _rounded(found.r2, 4),
        _rounded(found.residual_m3_m3, 4),
        _rounded(vpd, 3),
        found.ended_by,
        found.reason,
    )


def _mix(summary: MixSummary, moisture_calibrated: bool) -> MixDryDown:
    return MixDryDown(
        summary.mix,
        summary.stretches,
        summary.trays,
        summary.too_short,
        _median(summary.tau_s, DAY_S),
        _median(summary.rate_pct_per_day),
        _median(summary.rate_pct_per_day_kpa),
        moisture_calibrated,
        summary.reason,
    )


def _median(found: Interval, per: float = 1.0) -> Median:
    middle, low, high = (
        None if v is None else round(v / per, 3) for v in (found.estimate, found.low, found.high)
    )
    return Median(middle, low, high, found.n, found.reason)


def _days(seconds: float | None) -> float | None:
    return _rounded(None if seconds is None else seconds / DAY_S, 3)


def _rounded(value: float | None, digits: int) -> float | None:
    return None if value is None or not math.isfinite(value) else round(value, digits)
