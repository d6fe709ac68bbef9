"""Stamps of a logger file as instants: formats, offsets, zones, and the hours that clocks skip or repeat."""

import re
from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from enum import IntEnum
from zoneinfo import ZoneInfo

import numpy as np
import pandas as pd
from numpy.typing import NDArray

IntArray = NDArray[np.int64]
Int8Array = NDArray[np.int8]

NO_TIME = np.iinfo(np.int64).min
_DAY_MS = 86_400_000
_OFFSET = re.compile(r"(?:UTC)?([+-])(\d{1,2}):?(\d{2})?")
_EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
_NAIVE_EPOCH = datetime(1970, 1, 1)  # noqa: DTZ001  wall-clock times have no zone yet


class Fate(IntEnum):
    """What became of a stamp."""

    READ = 0
    UNREADABLE = 1
    HOLE = 2
    """The clocks were put forward over it: it never was. No instant."""
    FIRST_PASS = 3
    """The clocks were put back over it; taken as its first occurrence (daylight time)."""
    SECOND_PASS = 4
    """… taken as its second occurrence (standard time), because the rows before it had been there already."""


def offset_s_from(text: str) -> int | None:
    """Seconds east of UTC: “-06:00” → −21600, “Z” or “UTC” → 0; None when it is no offset."""
    if text.strip().upper() in ("Z", "UTC", "GMT"):
        return 0
    found = _OFFSET.fullmatch(text.strip().upper())
    if found is None or int(found[2]) > 14 or int(found[3] or 0) > 59:
        return None
    seconds = int(found[2]) * 3600 + int(found[3] or 0) * 60
    return -seconds if found[1] == "-" else seconds


def read_stamps(texts: Sequence[str], pattern: str) -> tuple[IntArray, NDArray[np.bool_]]:
    """Texts as milliseconds since 1970, and which of them carry their own offset.

    Where a stamp carries its offset (or is an epoch count) the milliseconds are UTC; otherwise they are
    what the wall clock showed. NO_TIME where the text cannot be read.
    """
    if pattern in ("epoch s", "epoch ms"):
        numbers = pd.to_numeric(pd.Series(list(texts), dtype=object), errors="coerce").to_numpy(np.float64)
        numbers = numbers * 1000.0 if pattern == "epoch s" else numbers
        bad = ~(np.abs(numbers) < 2.6e14)  # year 10209: what a datetime64[ms] can print; NaN too
        return np.where(bad, NO_TIME, np.where(bad, 0.0, np.rint(numbers))).astype(np.int64), np.ones(
            len(texts), dtype=bool
        )
    if pattern != "iso":
        aware = np.full(len(texts), "%z" in pattern)
        return _parsed(list(texts), pattern, utc="%z" in pattern), aware
    tails = [text[10:] for text in texts]
    aware = np.array(["+" in t or "-" in t or "Z" in t or "z" in t for t in tails], dtype=bool)
    if not aware.any() or aware.all():
        return _parsed(list(texts), "ISO8601", utc=bool(aware.any())), aware
    times = np.empty(len(texts), dtype=np.int64)
    for kind in (False, True):
        rows = np.flatnonzero(aware == kind)
        times[rows] = _parsed([texts[row] for row in rows.tolist()], "ISO8601", utc=kind)
    return times, aware


def _parsed(texts: list[str], pattern: str, *, utc: bool) -> IntArray:
    stamps = pd.to_datetime(pd.Series(texts, dtype=object), format=pattern, errors="coerce", utc=utc)
    if utc:
        stamps = stamps.dt.tz_localize(None)
    values = stamps.to_numpy()
    times = values.astype("datetime64[us]").astype(np.int64)
    # Rounded, because workbooks keep times as fractions of a day: 08:30 may come as 08:29:59.999999.
    return np.where(np.isnat(values), NO_TIME, (times + 500) // 1000)


@dataclass(slots=True)
class WallClock:
    """Turns what a wall clock in a zone showed, row after row of one series, into instants.

    Notes
    -----
    In the hour that occurs twice the order of rows decides: the first pass is daylight time; once a row does
    not come later than the one before it, the second pass (standard time) has begun. With a single pass it is
    taken as the first. `newest_first` turns the order round.
    """

    zone: ZoneInfo
    newest_first: bool = False
    _last_ms: int = NO_TIME
    _second: bool = False
    _days: dict[int, int | None] = field(default_factory=dict)

    def instants(self, wall_ms: IntArray) -> tuple[IntArray, Int8Array]:
        """Instants (ms since 1970 UTC) and the Fate of each; NO_TIME goes through."""
        fates = np.where(wall_ms == NO_TIME, Fate.UNREADABLE, Fate.READ).astype(np.int8)
        days = np.where(wall_ms == NO_TIME, 0, wall_ms) // _DAY_MS
        found, place = np.unique(days, return_inverse=True)
        offsets = [self._steady_offset_ms(int(day)) for day in found]
        table = np.array([NO_TIME if o is None else o for o in offsets], dtype=np.int64)[place]
        out = np.where(wall_ms == NO_TIME, NO_TIME, wall_ms - np.where(table == NO_TIME, 0, table))
        for row in np.flatnonzero((table == NO_TIME) & (wall_ms != NO_TIME)):
            before = self._last_ms if row == 0 else int(wall_ms[row - 1])
            out[row], fates[row] = self._instant(int(wall_ms[row]), before)
        if len(wall_ms):
            self._last_ms = int(wall_ms[-1])
        return out, fates

    def _steady_offset_ms(self, day: int) -> int | None:
        """The offset of that calendar day; None when it may change during it (±15 h cover any zone)."""
        if day not in self._days:
            edges = (day * _DAY_MS - 15 * 3_600_000, (day + 1) * _DAY_MS + 15 * 3_600_000)
            first, last = (self._offset_at(_EPOCH + timedelta(milliseconds=edge)) for edge in edges)
            self._days[day] = first if first == last else None
        return self._days[day]

    def _offset_at(self, instant: datetime) -> int:
        return _ms(instant.astimezone(self.zone).utcoffset())

    def _instant(self, wall_ms: int, before_ms: int) -> tuple[int, Fate]:
        wall = (_NAIVE_EPOCH + timedelta(milliseconds=wall_ms)).replace(tzinfo=self.zone)
        daylight, standard = _ms(wall.utcoffset()), _ms(wall.replace(fold=1).utcoffset())
        if daylight == standard:
            self._second = False
            return wall_ms - daylight, Fate.READ
        if daylight < standard:
            return NO_TIME, Fate.HOLE
        if before_ms != NO_TIME:
            if abs(before_ms - wall_ms) >= 2 * (daylight - standard):
                self._second = False
            turned = before_ms <= wall_ms if self.newest_first else before_ms >= wall_ms
            self._second = self._second or turned
        # Newest first, the first rows met are the later pass.
        second = self._second != self.newest_first
        return wall_ms - (standard if second else daylight), Fate.SECOND_PASS if second else Fate.FIRST_PASS


def _ms(offset: timedelta | None) -> int:
    return 0 if offset is None else round(offset.total_seconds() * 1000)
