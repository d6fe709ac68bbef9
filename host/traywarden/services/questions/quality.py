"""Are the readings to be trusted? Troubles of every head, each with its reason and what to do."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from datetime import datetime

import numpy as np
import pandas as pd

from traywarden.domain.daylight import is_night
from traywarden.domain.flags import LEFT_OUT, Flag
from traywarden.domain.garden import Place, Tray
from traywarden.domain.habits import lifeless, season_spans, unlike_neighbours
from traywarden.domain.hourly import HOUR_S, Hourly, hourly
from traywarden.domain.journal import Stay
from traywarden.domain.misplaced import DEFAULT_MISPLACED, Misplaced, Swap, in_water, pulled_out, swaps
from traywarden.domain.qartod import FAIL, PASS, SUSPECT
from traywarden.domain.qartod_wide import climatology
from traywarden.domain.series import FloatArray, HeadSeries, IntArray
from traywarden.domain.sunlit import sunlit
from traywarden.domain.troubles import UNITS, Fault, Trouble, flag_troubles, stretches
from traywarden.errors import UsageError
from traywarden.services.questions.ground import DAY_MS, Ground

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


class _Asked:
    """Troubles as they are found, head by head."""

    def __init__(self, ground: Ground, start_ms: int, end_ms: int) -> None:
        self._ground, self.start_ms, self._end_ms = ground, start_ms, end_ms
        self.heads: list[HeadQuality] = []
        self.troubles: list[Trouble] = []
        self._where: dict[str, tuple[str | None, str | None]] = {}
        self._soil: dict[int, dict[str, tuple[FloatArray, FloatArray]]] = {}
        self._wet: dict[str, tuple[FloatArray, FloatArray]] = {}

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
        for head in ground.tray_series(tray.tray_id, self.start_ms, self._end_ms):
            untold: list[str] = []
            self._where[head.label] = (tray.name, place.name if place else None)
            self._flags(head)
            if np.isnan(head.clean("moisture_m3_m3")).all():
                untold.append("whether it is in the mix: it measured no usable moisture")
            elif not self._in_its_mix(tray, head):
                untold.append("whether it is in the mix: no mix is written down for its tray")
            earlier = ground.tray_hourly(tray.tray_id, self.start_ms - SEASON_MS, self.start_ms)
            past = next((each for each in earlier if each.label == head.label), None)
            # Another place is warmer, livelier and has other neighbours: only hours in this one are judged.
            stays = self._stays(tray, place)
            here = _within(hourly(head), stays)
            self._season(here, None if past is None else _within(past, stays), untold)
            self._liveliness(here, untold)
            if place is not None:
                others = self._soil_of(place.place_id)
                self._beside(here, "soil_temp_c", others, place.name, untold)
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
        """Air sensors; those in the open are held against one another for sun."""
        ground = self._ground
        seen: dict[str, tuple[HeadSeries, str, bool]] = {}
        for place in ground.places.values():
            for head in ground.place_heads(place.place_id, "air", self.start_ms, self._end_ms):
                if head.used("air_temp_c")[0].size:
                    seen.setdefault(head.label, (head, place.name, place.covered))
        by_hour = {label: hourly(head) for label, (head, _, _) in seen.items()}
        for label, (head, place_name, covered) in seen.items():
            untold: list[str] = []
            self._where[label] = (None, place_name)
            self._flags(head)
            others = {
                each: (by_hour[each].hour_s, by_hour[each].air_temp_c)
                for each, (_, _, under) in seen.items()
                if each != label and not under
            }
            if covered:
                untold.append("whether the sun shines on it: under cover the air itself is warmed")
            elif not others:
                untold.append("whether the sun shines on it: no other air sensor hangs in the open")
            else:
                self._sun(by_hour[label], others)
            self._count(head, None, place_name, untold)

    def _flags(self, head: HeadSeries) -> None:
        for column in UNITS:
            found = flag_troubles(head.label, column, head.time_s, head.values(column), head.flags[column])
            self.troubles += found

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

    def _season(self, hours: Hourly, past: Hourly | None, untold: list[str]) -> None:
        spans = {} if past is None else season_spans(self._months(past.hour_s), past.soil_temp_c)
        codes = climatology(self._months(hours.hour_s), hours.soil_temp_c, spans)
        if not np.isin(codes, (PASS, SUSPECT, FAIL)).any():
            untold.append("whether it is like the season: less than ten days of it are known in this place")
        self._hours(
            hours,
            "soil_temp_c",
            codes,
            Fault.UNSEASONABLE,
            lambda low, high: f"{low:.1f} to {high:.1f} °C is beyond what it showed in this month before",
        )

    def _liveliness(self, hours: Hourly, untold: list[str]) -> None:
        codes = lifeless(hours.hour_s, hours.soil_temp_c)
        if not (codes < SUSPECT).any() or (codes[~np.isnan(hours.soil_temp_c)] == 2).all():
            untold.append("whether it is as lively as usual: five whole days show what is usual")
        self._hours(
            hours,
            "soil_temp_c",
            codes,
            Fault.LIFELESS,
            lambda low, high: f"it moved far less than on its usual day, between {low:.1f} and {high:.1f} °C",
        )

    def _stays(self, tray: Tray, place: Place | None) -> list[Stay]:
        """When the tray stood where it stands now."""
        where = None if place is None else place.place_id
        return [s for s in self._ground.facts.tray_places if (s.subject, s.where) == (tray.tray_id, where)]

    def _beside(
        self,
        hours: Hourly,
        column: str,
        others: dict[str, tuple[FloatArray, FloatArray]],
        place: str,
        untold: list[str],
    ) -> None:
        beside = _at(hours.hour_s, [pair for label, pair in others.items() if label != hours.label])
        if not beside.size or np.isnan(beside).all():
            untold.append(f"whether it is like its neighbours: no other head measured in {place}")
            return
        codes = unlike_neighbours(getattr(hours, column), beside)
        number = beside.shape[0]
        alone = "; which of the two is wrong cannot be told" if number == 1 else ""
        self._hours(
            hours,
            column,
            codes,
            Fault.UNLIKE_NEIGHBOURS,
            lambda low, high: (
                f"{low:.1f} to {high:.1f} °C is far from the {'median of the ' if number > 1 else ''}"
                f"{number} other head{'s' if number > 1 else ''} in {place}{alone}"
            ),
        )

    def _sun(self, hours: Hourly, others: dict[str, tuple[FloatArray, FloatArray]]) -> None:
        garden = self._ground.garden
        beside = _at(hours.hour_s, list(others.values()))
        night = is_night(hours.hour_s, self._ground.zone, garden.latitude_deg, garden.longitude_deg)
        found = sunlit(hours.hour_s, hours.air_temp_c, beside, night, self._days(hours.hour_s))
        if found is None:
            return
        alone = "" if beside.shape[0] > 1 else "; with one other sensor alone, that one may be the cold one"
        reason = (
            f"on {found.days} of {found.days_looked_at} days it was {found.excess_c:.0f} °C and more above "
            f"the other air sensors at its warmest, and like them by night{alone}"
        )
        lasting = bool(hours.hour_s[-1] - found.last_s < 36 * HOUR_S)
        count = int((~np.isnan(hours.air_temp_c)).sum())
        span = (found.first_s, found.last_s, lasting, count)
        self.troubles.append(Trouble(hours.label, "air_temp_c", Fault.IN_SUN, *span, SUSPECT, reason))

    def _hours(
        self, hours: Hourly, column: str, codes: IntArray, fault: Fault, words: Callable[[float, float], str]
    ) -> None:
        """Troubles from codes of hours."""
        values: FloatArray = getattr(hours, column)
        odd = (codes == SUSPECT) | (codes == FAIL)
        for run in stretches(hours.hour_s, odd):
            inside = (hours.hour_s >= run.start_s) & (hours.hour_s <= run.end_s) & odd
            reason = words(float(values[inside].min()), float(values[inside].max()))
            end_s = run.end_s + HOUR_S
            lasting = bool(run.end_s >= hours.hour_s[-1])
            code = int(codes[inside].max())
            self.troubles.append(
                Trouble(hours.label, column, fault, run.start_s, end_s, lasting, run.readings, code, reason)
            )

    def _count(self, head: HeadSeries, tray: str | None, place: str | None, untold: list[str]) -> None:
        together = np.zeros(head.time_s.size, np.int64)
        for flags in head.flags.values():
            together |= flags & ~int(QUIET)
        codes = np.where(together & LEFT_OUT, FAIL, np.where(together > 0, SUSPECT, PASS))
        good, suspect, bad = (int((codes == code).sum()) for code in (PASS, SUSPECT, FAIL))
        self.heads.append(HeadQuality(head.label, tray, place, codes.size, good, suspect, bad, tuple(untold)))

    def _soil_of(self, place_id: int) -> dict[str, tuple[FloatArray, FloatArray]]:
        if place_id not in self._soil:
            found = self._ground.place_hourly(place_id, "soil", self.start_ms, self._end_ms)
            self._soil[place_id] = {each.label: (each.hour_s, each.soil_temp_c) for each in found}
        return self._soil[place_id]

    def _months(self, hour_s: FloatArray) -> IntArray:
        return self._local(hour_s).month.to_numpy(np.int64)

    def _days(self, hour_s: FloatArray) -> IntArray:
        return np.asarray(self._local(hour_s).to_numpy("datetime64[D]").astype(np.int64))

    def _local(self, hour_s: FloatArray) -> pd.DatetimeIndex:
        """The garden's clock at the start of each hour."""
        stamps = pd.DatetimeIndex(pd.to_datetime(hour_s, unit="s", utc=True))
        return stamps.tz_convert(self._ground.zone).tz_localize(None)


def _within(hours: Hourly, stays: Sequence[Stay]) -> Hourly:
    """The soil of the hours within stays, NaN in the others; all of it where no stay is known."""
    if not stays:
        return hours
    at_ms = hours.hour_s * 1000
    inside = [(at_ms >= s.start_ms) & (at_ms < (np.inf if s.end_ms is None else s.end_ms)) for s in stays]
    return replace(hours, soil_temp_c=np.where(np.any(inside, axis=0), hours.soil_temp_c, np.nan))


def _at(hour_s: FloatArray, others: Sequence[tuple[FloatArray, FloatArray]]) -> FloatArray:
    """Others' hourly values at these hours, one row each; NaN where one has none."""
    rows = np.full((len(others), hour_s.size), np.nan)
    for row, (theirs_s, values) in enumerate(others):
        if theirs_s.size:
            place = np.clip(np.searchsorted(theirs_s, hour_s), 0, theirs_s.size - 1)
            same = theirs_s[place] == hour_s
            rows[row, same] = values[place[same]]
    return rows


def _swapped(mine: str, other: str, swap: Swap, last_s: float) -> Trouble:
    before = {swap.a: swap.a_before_m3_m3, swap.b: swap.b_before_m3_m3}
    reason = (
        f"it went from {before[mine]:.2f} to {before[other]:.2f} m³/m³, where {other} was, "
        f"while {other} went to where it was"
    )
    return Trouble(mine, "moisture_m3_m3", Fault.SWAPPED, swap.at_s, last_s, True, 0, FAIL, reason)
