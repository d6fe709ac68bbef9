"""What one tray went through on one time axis: its moisture, its warmth, its waterings, its journal."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime
from itertools import pairwise
from typing import TypeAlias

import numpy as np

from traywarden.domain.garden import Mix, Tray
from traywarden.domain.journal import Kind
from traywarden.domain.moisture import NOT_CALIBRATED
from traywarden.domain.series import FloatArray, HeadSeries, together
from traywarden.errors import UsageError
from traywarden.services.position import position_of
from traywarden.services.questions.dry_down import Stretch, ask_dry_down
from traywarden.services.questions.ground import DAY_MS, Ground
from traywarden.services.questions.nights import Night, nights_between
from traywarden.services.questions.outlook import TrayOutlook, ask_outlook
from traywarden.services.questions.tray_journal import JournalMark, journal_marks
from traywarden.services.questions.waterings import WateringEvent, ask_waterings
from traywarden.services.thinning import thinned
from traywarden.store import garden as garden_store

_Row: TypeAlias = tuple[str, bool, FloatArray, FloatArray]

MOST_DAYS = 3660.0


@dataclass(frozen=True, slots=True)
class Point:
    """A reading that is drawn: moisture in % of container capacity, or a temperature in °C."""

    at: datetime
    value: float


@dataclass(frozen=True, slots=True)
class Line:
    """What one head of the tray, or the air of one place, measured: unbroken stretches, thinned to be drawn.

    `readings` is how many it stands for, `low` and `high` are the extremes of all of them.
    """

    of: str
    calibrated: bool
    readings: int
    low: float
    high: float
    stretches: tuple[tuple[Point, ...], ...]


@dataclass(frozen=True, slots=True)
class Held:
    """A mix, and its dry line [% of container capacity], for as long as the tray held it."""

    start: datetime
    end: datetime
    mix: str
    dry_line_pct: float


@dataclass(frozen=True, slots=True)
class Limits:
    """What seed wants of its soil to come up [°C], until it is up; None where none is published."""

    start: datetime
    end: datetime
    crop: str
    floor_c: float | None
    floor_kind: str
    best_low_c: float | None
    best_high_c: float | None
    max_c: float | None
    source: str


@dataclass(frozen=True, slots=True)
class TrayRecord:
    """One tray from `start` to `end`, which is now. Moisture: % of the container capacity that held then.

    `waterings` are those of `ask_waterings`, `dry_downs` of `ask_dry_down`, `outlook` of `ask_outlook`;
    `until` is where the outlook ends, but no more than half the span from now.
    """

    garden: str
    tray: str
    place: str | None
    start: datetime
    end: datetime
    until: datetime
    says: str
    moisture: tuple[Line, ...]
    soil: tuple[Line, ...]
    air: tuple[Line, ...]
    held: tuple[Held, ...]
    limits: tuple[Limits, ...]
    nights: tuple[Night, ...]
    nights_from: str
    waterings: tuple[WateringEvent, ...]
    dry_downs: tuple[Stretch, ...]
    journal: tuple[JournalMark, ...]
    outlook: TrayOutlook
    remarks: tuple[str, ...]


def ask_tray_record(ground: Ground, tray: str, days: float = 7.0) -> TrayRecord:
    """Everything that was measured of a tray in the last so many days, and done to it, on one time axis.

    Raises UnknownNameError, UsageError (a span that holds nothing), ShortOfDataError (nothing ever measured).
    """
    if not 0 < days <= MOST_DAYS:
        raise UsageError(f"A span of {days:g} days cannot be shown; give --days 7.")
    ground.need_readings()
    found = garden_store.tray_named(ground.tx, tray)
    return _Record(ground, found, days).answer()


class _Record:
    """One tray over one span."""

    def __init__(self, ground: Ground, tray: Tray, days: float) -> None:
        self._ground, self._tray, self._days = ground, tray, days
        self._start_ms, self._end_ms = ground.now_ms - round(days * DAY_MS), ground.now_ms + 1
        self._gap_s: float = ground.settings["coverage.longest_gap_s"]
        self._remarks: list[str] = []

    def answer(self) -> TrayRecord:
        ground, name = self._ground, self._tray.name
        [watered] = ask_waterings(ground, name, self._days).trays
        [outlook] = ask_outlook(ground, name).trays
        until_ms = self._until_ms(outlook)
        dried = ask_dry_down(ground, tray=name, days=self._days)
        series = ground.tray_series(self._tray.tray_id, self._start_ms, self._end_ms)
        held = self._held()
        moisture = self._moisture(series, held)
        soil = self._lines((head.label, True, *head.used("soil_temp_c")) for head in series)
        air = self._air()
        if not series:
            self._remarks.append("no head was in it in this span")
        if not air:
            self._remarks.append("the air of its place was not measured")
        if position_of(ground).stand_in:
            self._remarks.append(position_of(ground).stand_in)
        place = ground.place_of(self._tray.tray_id, ground.now_ms)
        return TrayRecord(
            ground.garden.name,
            name,
            place.name if place else None,
            ground.at(self._start_ms),
            ground.at(ground.now_ms),
            ground.at(until_ms),
            self._sentence(moisture, soil, len(watered.events)),
            moisture,
            soil,
            air,
            tuple(Held(*self._span(a, b), mix.name, _dry_line_pct(mix)) for a, b, mix in held),
            self._limits(),
            *nights_between(ground, self._start_ms, until_ms),
            watered.events,
            dried.stretches,
            journal_marks(ground, self._tray.tray_id, self._start_ms, self._end_ms),
            outlook,
            tuple(self._remarks),
        )

    def _span(self, start_ms: int, end_ms: int) -> tuple[datetime, datetime]:
        return self._ground.at(start_ms), self._ground.at(end_ms)

    def _held(self) -> list[tuple[int, int, Mix]]:
        """The mixes that the tray held, each anew where another container capacity began to hold."""
        facts, tray_id = self._ground.facts, self._tray.tray_id
        found: list[tuple[int, int, Mix]] = []
        for stay in facts.tray_mixes:
            span = stay.overlap(self._start_ms, self._end_ms) if stay.subject == tray_id else None
            mix = self._ground.mixes.get(stay.where)
            if span is None or mix is None:
                continue
            turns = [at for at in facts.capacity_turns_ms(mix.mix_id) if span[0] < at < span[1]]
            edges = [span[0], *turns, span[1]]
            for start_ms, end_ms in pairwise(edges):
                held = facts.mix_as_held(mix, tray_id, start_ms)
                if found and found[-1][1:] == (start_ms, held):
                    found[-1] = (found[-1][0], end_ms, held)
                else:
                    found.append((start_ms, end_ms, held))
        return found

    def _moisture(
        self, series: Sequence[HeadSeries], held: Sequence[tuple[int, int, Mix]]
    ) -> tuple[Line, ...]:
        rows = []
        for head in series:
            time_s, m3_m3 = head.used("moisture_m3_m3")
            pct = np.full(m3_m3.size, np.nan)
            for start_ms, end_ms, mix in held:
                inside = (time_s >= start_ms / 1000) & (time_s < end_ms / 1000)
                pct[inside] = m3_m3[inside] / mix.container_capacity_m3_m3 * 100
            known = np.isfinite(pct)
            if m3_m3.size and not known.all():
                self._remarks.append(f"{head.label}: where no mix is written down, moisture is not shown")
            if known.any() and not head.moisture_calibrated:
                self._remarks.append(f"{head.label}: its moisture is {NOT_CALIBRATED}")
            rows.append((head.label, head.moisture_calibrated, time_s[known], pct[known]))
        return self._lines(rows)

    def _air(self) -> tuple[Line, ...]:
        """The air of every place the tray stood in, while it stood there."""
        rows = []
        for stay in self._ground.facts.tray_places:
            if stay.subject != self._tray.tray_id or stay.where not in self._ground.places:
                continue
            span = stay.overlap(self._start_ms, self._end_ms)
            if span is not None:
                heads = self._ground.place_heads(stay.where, "air", *span)
                rows.append((self._ground.places[stay.where].name, True, *together(heads, "air_temp_c")))
        return self._lines(rows)

    def _lines(self, rows: Iterable[_Row]) -> tuple[Line, ...]:
        return tuple(self._line(*row) for row in rows if row[2].size)

    def _line(self, label: str, calibrated: bool, time_s: FloatArray, values: FloatArray) -> Line:
        at = self._ground.at
        rounded = np.round(values, 2)
        parts = thinned(time_s, values, self._gap_s)
        return Line(
            label,
            calibrated,
            int(time_s.size),
            float(rounded.min()),
            float(rounded.max()),
            tuple(tuple(Point(at(time_s[n] * 1000), float(rounded[n])) for n in part) for part in parts),
        )

    def _limits(self) -> tuple[Limits, ...]:
        ground = self._ground
        turns = ground.facts.of_tray(self._tray.tray_id, Kind.SOWED, Kind.PLANTED_OUT)
        found = []
        for n, sowing in enumerate(turns):
            crop = ground.crop_of(sowing) if sowing.kind is Kind.SOWED else None
            start_ms = max(sowing.at_ms, self._start_ms)
            end_ms = min(turns[n + 1].at_ms if n + 1 < len(turns) else self._end_ms, self._end_ms)
            up = ground.facts.emergence_of_sowing(sowing, ground.now_ms) if crop else None
            end_ms = end_ms if up is None else min(end_ms, up.at_ms)
            if crop is None or start_ms >= end_ms:
                continue
            found.append(
                Limits(
                    *self._span(start_ms, end_ms),
                    crop.name,
                    crop.floor_c,
                    crop.floor_kind,
                    crop.opt_low_c,
                    crop.opt_high_c,
                    crop.max_c,
                    crop.source,
                )
            )
        return tuple(found)

    def _until_ms(self, outlook: TrayOutlook) -> int:
        now_ms = self._ground.now_ms
        if not outlook.path:
            return now_ms
        latest_ms = round(outlook.path[-1].latest.timestamp() * 1000)
        return min(max(latest_ms, now_ms), now_ms + (now_ms - self._start_ms) // 2)

    def _sentence(self, moisture: Sequence[Line], soil: Sequence[Line], waterings: int) -> str:
        parts = []
        if moisture:
            low, high = min(line.low for line in moisture), max(line.high for line in moisture)
            parts.append(f"moisture from {low:.0f} to {high:.0f} % of container capacity")
        if soil:
            low, high = min(line.low for line in soil), max(line.high for line in soil)
            parts.append(f"soil from {self._ground.display.temp_range(low, high)}")
        parts.append(f"{waterings or 'no'} watering{'' if waterings == 1 else 's'}")
        span = f"{self._days:g} day{'' if self._days == 1 else 's'}"
        return f"{self._tray.name} in the last {span}: {'; '.join(parts)}."


def _dry_line_pct(mix: Mix) -> float:
    return round(mix.dry_line_m3_m3 / mix.container_capacity_m3_m3 * 100, 2)
