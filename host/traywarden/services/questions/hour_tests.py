"""The tests of whole hours: is a head like its season, as lively as ever, like its neighbours, not sunlit?"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from traywarden.domain.daylight import is_night
from traywarden.domain.habits import DEFAULT_HABITS, lifeless, season_spans, unlike_neighbours
from traywarden.domain.hourly import HOUR_S, Hourly
from traywarden.domain.qartod import FAIL, PASS, SUSPECT
from traywarden.domain.qartod_wide import climatology
from traywarden.domain.series import BoolArray, FloatArray, IntArray
from traywarden.domain.sunlit import sunlit
from traywarden.domain.troubles import Fault, Trouble, stretches
from traywarden.domain.units import Display
from traywarden.services.position import position_of
from traywarden.services.questions.ground import Ground

Measured = tuple[FloatArray, FloatArray]
"""Hours [s] and what was measured in them."""


@dataclass(frozen=True, slots=True)
class Column:
    """What is tested of a head: its name in `Hourly`, and how far from its neighbours it may lie."""

    name: str
    words: Callable[[Display, float, float], str]
    suspect_apart: float
    fail_apart: float


def _degrees(display: Display, low_c: float, high_c: float) -> str:
    return display.temp_range(low_c, high_c)


def _percent(_: Display, low_pct: float, high_pct: float) -> str:
    return f"{low_pct:.0f} to {high_pct:.0f} %"


_APART_C = (DEFAULT_HABITS.suspect_apart_c, DEFAULT_HABITS.fail_apart_c)
SOIL = Column("soil_temp_c", _degrees, *_APART_C)
AIR = Column("air_temp_c", _degrees, *_APART_C)
HUMIDITY = Column("rh_pct", _percent, DEFAULT_HABITS.suspect_apart_pct, DEFAULT_HABITS.fail_apart_pct)


class HourTests:
    """The tests for one garden. Each returns its troubles, and adds to `untold` what it could not judge."""

    def __init__(self, ground: Ground) -> None:
        self._ground = ground

    def season(self, hours: Hourly, past: Hourly | None, column: Column, untold: list[str]) -> list[Trouble]:
        """Climatology: against the months the head knew before, in the place where it is now."""
        spans = {} if past is None else season_spans(self._months(past.hour_s), getattr(past, column.name))
        codes = climatology(self._months(hours.hour_s), getattr(hours, column.name), spans)
        if not np.isin(codes, (PASS, SUSPECT, FAIL)).any():
            untold.append("whether it is like the season: less than ten days of it are known in this place")
        return self._troubles(
            hours,
            column,
            codes,
            Fault.UNSEASONABLE,
            lambda span: f"{span} is beyond what it showed in this month before",
        )

    def liveliness(self, hours: Hourly, column: Column, untold: list[str]) -> list[Trouble]:
        """Attenuated signal: against its own usual day."""
        values: FloatArray = getattr(hours, column.name)
        if column is HUMIDITY:
            values = np.where(values < DEFAULT_HABITS.saturated_pct, values, np.nan)
        codes = lifeless(hours.hour_s, values)
        if not (codes < SUSPECT).any() or (codes[~np.isnan(values)] == 2).all():
            untold.append("whether it is as lively as usual: five whole days show what is usual")
        return self._troubles(
            hours,
            column,
            codes,
            Fault.LIFELESS,
            lambda span: f"it moved far less than on its usual day, between {span.replace(' to ', ' and ')}",
        )

    def beside(self, hours: Hourly, column: Column, beside: FloatArray, whose: str) -> list[Trouble]:
        """Neighbours: against the median of others that should be much like it, as `at_hours` gives them.

        `whose` says which others.
        """
        codes = unlike_neighbours(
            getattr(hours, column.name), beside, column.suspect_apart, column.fail_apart
        )
        number = beside.shape[0]
        alone = "; which of the two is wrong cannot be told" if number == 1 else ""
        plural = "s" if number > 1 else ""
        return self._troubles(
            hours,
            column,
            codes,
            Fault.UNLIKE_NEIGHBOURS,
            lambda span: (
                f"{span} is far from the {'median of the ' if number > 1 else ''}"
                f"{number} other {whose.format(s=plural)}{alone}"
            ),
        )

    def sun(self, hours: Hourly, others: Sequence[Measured]) -> Trouble | None:
        """An air sensor in the open, against the others in the open."""
        beside = at_hours(hours.hour_s, others)
        found = sunlit(
            hours.hour_s, hours.air_temp_c, beside, self.night(hours.hour_s), self._days(hours.hour_s)
        )
        if found is None:
            return None
        alone = "" if beside.shape[0] > 1 else "; with one other sensor alone, that one may be the cold one"
        excess = self._ground.display.temp_span(found.excess_c)
        reason = (
            f"on {found.days} of {found.days_looked_at} days it was {excess} and more above "
            f"the other air sensors at its warmest, and like them by night{alone}"
        )
        if stand_in := position_of(self._ground).stand_in:
            reason += f"; {stand_in}"
        lasting = bool(hours.hour_s[-1] - found.last_s < 36 * HOUR_S)
        count = int((~np.isnan(hours.air_temp_c)).sum())
        span = (found.first_s, found.last_s, lasting, count)
        return Trouble(hours.label, "air_temp_c", Fault.IN_SUN, *span, SUSPECT, reason)

    def night(self, hour_s: FloatArray) -> BoolArray:
        position = position_of(self._ground)
        return is_night(hour_s, self._ground.zone, position.latitude_deg, position.longitude_deg)

    def _troubles(
        self, hours: Hourly, column: Column, codes: IntArray, fault: Fault, words: Callable[[str], str]
    ) -> list[Trouble]:
        values: FloatArray = getattr(hours, column.name)
        odd = (codes == SUSPECT) | (codes == FAIL)
        found = []
        for run in stretches(hours.hour_s, odd):
            inside = (hours.hour_s >= run.start_s) & (hours.hour_s <= run.end_s) & odd
            low, high = float(values[inside].min()), float(values[inside].max())
            reason = words(column.words(self._ground.display, low, high))
            lasting = bool(run.end_s >= hours.hour_s[-1])
            span = (run.start_s, run.end_s + HOUR_S, lasting, run.readings)
            code = int(codes[inside].max())
            found.append(Trouble(hours.label, column.name, fault, *span, code, reason))
        return found

    def _months(self, hour_s: FloatArray) -> IntArray:
        return self._local(hour_s).month.to_numpy(np.int64)

    def _days(self, hour_s: FloatArray) -> IntArray:
        return np.asarray(self._local(hour_s).to_numpy("datetime64[D]").astype(np.int64))

    def _local(self, hour_s: FloatArray) -> pd.DatetimeIndex:
        """The garden's clock at the start of each hour."""
        stamps = pd.DatetimeIndex(pd.to_datetime(hour_s, unit="s", utc=True))
        return stamps.tz_convert(self._ground.zone).tz_localize(None)


def at_hours(hour_s: FloatArray, others: Sequence[Measured]) -> FloatArray:
    """Others' hourly values at these hours, one row each; NaN where one has none."""
    rows = np.full((len(others), hour_s.size), np.nan)
    for row, (theirs_s, values) in enumerate(others):
        if np.array_equal(theirs_s, hour_s):
            rows[row] = values
        elif theirs_s.size:
            place = np.clip(np.searchsorted(theirs_s, hour_s), 0, theirs_s.size - 1)
            same = theirs_s[place] == hour_s
            rows[row, same] = values[place[same]]
    return rows
