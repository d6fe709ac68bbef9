"""Are the readings to be trusted? Troubles of every head, each with its reason and what to do."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime

import numpy as np

from traywarden.domain.flags import LEFT_OUT, Flag
from traywarden.domain.garden import Place, Tray
from traywarden.domain.hourly import HOUR_S, Hourly, hourly
from traywarden.domain.journal import Stay
from traywarden.domain.misplaced import DEFAULT_MISPLACED, Misplaced, Swap, in_water, pulled_out, swaps
from traywarden.domain.qartod import FAIL, PASS, SUSPECT
from traywarden.domain.series import FloatArray, HeadSeries
from traywarden.domain.troubles import UNITS, Fault, Trouble, flag_troubles
from traywarden.errors import UsageError
from traywarden.services.questions.ground import DAY_MS, Ground
from traywarden.services.questions.hour_tests import AIR, HUMIDITY, SOIL, HourTests, at_hours

SEASON_MS = 400 * DAY_MS
"""How far back the season is learnt from: the same month of last year is within it."""
QUIET = Flag.HUMIDITY_ABOVE_100
"""Put right silently, and no trouble."""
AROUND_SWAP_S = DEFAULT_MISPLACED.sudden_s + DEFAULT_MISPLACED.around_s
"""A filling or calibration so near makes what two heads read before and after no swap."""


@dataclass(frozen=True, slots=True)
class HeadTrouble:
    """One trouble of one head, in the garden's time. `code`: 3 suspect, 4 bad (QARTOD)."""

    head: str
    tray: str | None
    place: str | None
    measured: str
    fault: str
    start: datetime
    end: datetime
    lasting: bool
    readings: int
    code: int
    reason: str
    do: str


@dataclass(frozen=True, slots=True)
class HeadQuality:
    """One head: its readings by QARTOD code, and what could not be judged, with the reason."""

    head: str
    tray: str | None
    place: str | None
    readings: int
    good: int
    suspect: int
    bad: int
    not_judged: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class QualityAnswer:
    garden: str
    start: datetime
    end: datetime
    heads: tuple[HeadQuality, ...]
    troubles: tuple[HeadTrouble, ...]


def ask_quality(ground: Ground, tray: str = "", days: float = 14.0) -> QualityAnswer:
    """Troubles of the heads of one tray, or of every tray and place, in the last so many days.

    Raises UnknownNameError, UsageError (no tray yet, no span), ShortOfDataError (nothing was ever measured).
    """
    if days <= 0:
        raise UsageError(f"A span of {days:g} days holds nothing; give --days 14.")
    chosen = ground.chosen_trays(tray)
    ground.need_readings()
    asked = _Asked(ground, ground.now_ms - round(days * DAY_MS), ground.now_ms + 1)
    for each in chosen:
        asked.look_at_tray(each)
    asked.look_for_swaps()
    if not tray:
        asked.look_at_air()
    order = sorted(asked.troubles, key=lambda t: (-t.code, not t.lasting, t.head, t.start_s))
    return QualityAnswer(
        ground.garden.name,
        ground.at(asked.start_ms),
        ground.at(ground.now_ms),
        tuple(asked.heads),
        tuple(asked.told(trouble) for trouble in order),
    )


@dataclass(frozen=True, slots=True)
class _Hung:
    """An air sensor while it hung in a place."""

    head: HeadSeries
    hours: Hourly
    place: Place


class _Asked:
    """Troubles as they are found, head by head."""

    def __init__(self, ground: Ground, start_ms: int, end_ms: int) -> None:
        self._ground, self.start_ms, self._end_ms = ground, start_ms, end_ms
        self.heads: list[HeadQuality] = []
        self.troubles: list[Trouble] = []
        self._where: dict[str, tuple[str | None, str | None]] = {}
        self._soil: dict[int, dict[str, tuple[FloatArray, FloatArray]]] = {}
        self._wet: dict[str, tuple[FloatArray, FloatArray]] = {}
        self._air_before: dict[int, dict[str, Hourly]] = {}
        self._tests = HourTests(ground)

    def told(self, trouble: Trouble) -> HeadTrouble:
        tray, place = self._where[trouble.head]
        return HeadTrouble(
            trouble.head,
            tray,
            place,
            trouble.column,
            str(trouble.fault),
            self._ground.at(trouble.start_s * 1000),
            self._ground.at(trouble.end_s * 1000),
            trouble.lasting,
            trouble.readings,
            trouble.code,
            trouble.reason,
            trouble.do,
        )

    def look_at_tray(self, tray: Tray) -> None:
        ground = self._ground
        place = ground.place_of(tray.tray_id, ground.now_ms)
        earlier = ground.tray_hourly(tray.tray_id, self.start_ms - SEASON_MS, self.start_ms)
        for head in ground.tray_series(tray.tray_id, self.start_ms, self._end_ms):
            untold: list[str] = []
            self._where[head.label] = (tray.name, place.name if place else None)
            self._flags(head)
            if np.isnan(head.clean("moisture_m3_m3")).all():
                untold.append("whether it is in the mix: it measured no usable moisture")
            elif not self._in_its_mix(tray, head):
                untold.append("whether it is in the mix: no mix is written down for its tray")
            past = next((each for each in earlier if each.label == head.label), None)
            # Another place is warmer, livelier and has other neighbours: only hours in this one are judged.
            stays = self._stays(tray, place)
            here = _within(hourly(head), stays)
            before = None if past is None else _within(past, stays)
            self.troubles += self._tests.season(here, before, SOIL, untold)
            self.troubles += self._tests.liveliness(here, SOIL, untold)
            if place is not None:
                self._beside_soil(here, place, untold)
            self._count(head, tray.name, place.name if place else None, untold)

    def look_for_swaps(self) -> None:
        """Swaps that touch a head looked at; with whom, may be any head in any tray."""
        wet = dict(self._wet)
        broken_s: dict[str, list[float]] = {}
        for tray_id in self._ground.trays:
            for head in self._ground.tray_series(tray_id, self.start_ms, self._end_ms):
                wet.setdefault(head.label, (head.time_s, head.clean("moisture_m3_m3")))
                broken_s.setdefault(head.label, []).extend(head.breaks_s)
        for swap in swaps(wet):
            breaks_s = broken_s.get(swap.a, []) + broken_s.get(swap.b, [])
            if any(abs(at_s - swap.at_s) <= AROUND_SWAP_S for at_s in breaks_s):
                continue
            for mine, other in ((swap.a, swap.b), (swap.b, swap.a)):
                if mine in self._where:
                    self.troubles.append(_swapped(mine, other, swap, float(wet[mine][0][-1])))

    def look_at_air(self) -> None:
        """Air sensors: by season and liveliness, and against those that hang in air alike."""
        hung = self._hung()
        for each in hung:
            untold: list[str] = []
            self._where[each.hours.label] = (None, each.place.name)
            self._flags(each.head)
            past = self._earlier_air(each)
            self.troubles += self._tests.season(each.hours, past, AIR, untold)
            for column in (AIR, HUMIDITY):
                if not np.isnan(getattr(each.hours, column.name)).all():
                    self.troubles += self._tests.liveliness(each.hours, column, untold)
            self._beside_air(each, hung, untold)
            self._count(each.head, None, each.place.name, untold)

    def _hung(self) -> list[_Hung]:
        ground = self._ground
        return [
            _Hung(head, hourly(head), place)
            for place in ground.places.values()
            for head in ground.place_heads(place.place_id, "air", self.start_ms, self._end_ms)
            if head.used("air_temp_c")[0].size
        ]

    def _earlier_air(self, each: _Hung) -> Hourly | None:
        place_id = each.place.place_id
        if place_id not in self._air_before:
            found = self._ground.place_hourly(place_id, "air", self.start_ms - SEASON_MS, self.start_ms)
            self._air_before[place_id] = {past.label: past for past in found}
        return self._air_before[place_id].get(each.hours.label)

    def _beside_air(self, each: _Hung, hung: Sequence[_Hung], untold: list[str]) -> None:
        """Against the sensors of its place; in the open, against all in the open, and for sun too."""
        if each.place.covered:
            untold.append("whether the sun shines on it: under cover the air itself is warmed")
            alike = [other for other in hung if other.place == each.place]
            whose = f"air sensor{{s}} in {each.place.name}"
        else:
            alike = [other for other in hung if not other.place.covered]
            whose = "air sensor{s} in the open"
        alike = [other for other in alike if other.hours.label != each.hours.label]
        if not alike:
            if not each.place.covered:
                untold.append("whether the sun shines on it: no other air sensor hangs in the open")
            where = each.place.name if each.place.covered else "the open"
            untold.append(f"whether it is like its neighbours: no other air sensor hangs in {where}")
            return
        hours = each.hours
        if not each.place.covered:
            others = [(other.hours.hour_s, other.hours.air_temp_c) for other in alike]
            if (sunny := self._tests.sun(hours, others)) is not None:
                self.troubles.append(sunny)
                # By day the sun says why it is unlike the others: that is one trouble and not two.
                dark = self._tests.night(hours.hour_s)
                hours = replace(
                    hours,
                    air_temp_c=np.where(dark, hours.air_temp_c, np.nan),
                    rh_pct=np.where(dark, hours.rh_pct, np.nan),
                )
        for column in (AIR, HUMIDITY):
            others = [(other.hours.hour_s, getattr(other.hours, column.name)) for other in alike]
            others = [other for other in others if not np.isnan(other[1]).all()]
            if others:
                self.troubles += self._tests.beside(hours, column, at_hours(hours.hour_s, others), whose)

    def _flags(self, head: HeadSeries) -> None:
        for column in UNITS:
            self.troubles += flag_troubles(
                head.label,
                column,
                head.time_s,
                head.values(column),
                head.flags[column],
                self._ground.display,
            )

    def _in_its_mix(self, tray: Tray, head: HeadSeries) -> bool:
        """Looks at each stretch between fillings and calibrations by itself, as moisture steps at them.

        False where no mix was written down for any.
        """
        parts, any_mix = head.unbroken(), False
        for part in parts:
            mix = self._ground.mix_of(tray.tray_id, round(part.time_s[-1] * 1000))
            if mix is None:
                continue
            any_mix = True
            wet = (part.time_s, part.clean("moisture_m3_m3"))
            levels = (mix.dry_line_m3_m3, mix.container_capacity_m3_m3)
            self._misplaced(head.label, *wet, *levels, newest=part is parts[-1])
        if any_mix:
            self._wet[head.label] = (head.time_s, head.clean("moisture_m3_m3"))
        return any_mix

    def _misplaced(
        self,
        label: str,
        time_s: FloatArray,
        wet: FloatArray,
        dry_line_m3_m3: float,
        capacity_m3_m3: float,
        *,
        newest: bool,
    ) -> None:
        def add(fault: Fault, found: Misplaced, reason: str) -> None:
            count = int(((time_s >= found.start_s) & (time_s <= found.end_s) & ~np.isnan(wet)).sum())
            span = (found.start_s, found.end_s, found.lasting and newest, count)
            self.troubles.append(Trouble(label, "moisture_m3_m3", fault, *span, FAIL, reason))

        for out in pulled_out(time_s, wet, dry_line_m3_m3):
            add(
                Fault.PULLED_OUT,
                out,
                f"moisture fell at once from {out.before_m3_m3:.2f} to {out.after_m3_m3:.2f} m³/m³, "
                "too far and too fast for drying",
            )
        for wetter in in_water(time_s, wet, capacity_m3_m3):
            add(
                Fault.IN_WATER,
                wetter,
                f"it read {wetter.after_m3_m3:.2f} m³/m³ and more for "
                f"{(wetter.end_s - wetter.start_s) / HOUR_S:.0f} h, above the mix's container capacity of "
                f"{capacity_m3_m3:.2f}, and did not drain: the head, or the whole tray, stands in water",
            )

    def _stays(self, tray: Tray, place: Place | None) -> list[Stay]:
        """When the tray stood where it stands now."""
        where = None if place is None else place.place_id
        return [s for s in self._ground.facts.tray_places if (s.subject, s.where) == (tray.tray_id, where)]

    def _count(self, head: HeadSeries, tray: str | None, place: str | None, untold: list[str]) -> None:
        together = np.zeros(head.time_s.size, np.int64)
        for flags in head.flags.values():
            together |= flags & ~int(QUIET)
        codes = np.where(together & LEFT_OUT, FAIL, np.where(together > 0, SUSPECT, PASS))
        good, suspect, bad = (int((codes == code).sum()) for code in (PASS, SUSPECT, FAIL))
        self.heads.append(HeadQuality(head.label, tray, place, codes.size, good, suspect, bad, tuple(untold)))

    def _beside_soil(self, hours: Hourly, place: Place, untold: list[str]) -> None:
        others = [pair for label, pair in self._soil_of(place.place_id).items() if label != hours.label]
        beside = at_hours(hours.hour_s, others)
        if not beside.size or np.isnan(beside).all():
            untold.append(f"whether it is like its neighbours: no other head measured in {place.name}")
            return
        self.troubles += self._tests.beside(hours, SOIL, beside, f"head{{s}} in {place.name}")

    def _soil_of(self, place_id: int) -> dict[str, tuple[FloatArray, FloatArray]]:
        if place_id not in self._soil:
            found = self._ground.place_hourly(place_id, "soil", self.start_ms, self._end_ms)
            self._soil[place_id] = {each.label: (each.hour_s, each.soil_temp_c) for each in found}
        return self._soil[place_id]


def _within(hours: Hourly, stays: Sequence[Stay]) -> Hourly:
    """The soil of the hours within stays, NaN in the others; all of it where no stay is known."""
    if not stays:
        return hours
    at_ms = hours.hour_s * 1000
    inside = [(at_ms >= s.start_ms) & (at_ms < (np.inf if s.end_ms is None else s.end_ms)) for s in stays]
    return replace(hours, soil_temp_c=np.where(np.any(inside, axis=0), hours.soil_temp_c, np.nan))


def _swapped(mine: str, other: str, swap: Swap, last_s: float) -> Trouble:
    before = {swap.a: swap.a_before_m3_m3, swap.b: swap.b_before_m3_m3}
    reason = (
        f"it went from {before[mine]:.2f} to {before[other]:.2f} m³/m³, where {other} was, "
        f"while {other} went to where it was"
    )
    return Trouble(mine, "moisture_m3_m3", Fault.SWAPPED, swap.at_s, last_s, True, 0, FAIL, reason)
