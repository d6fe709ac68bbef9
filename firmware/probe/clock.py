"""The probe's clock: its own running time, tied to the world at each sync.

A board's sleep timer runs up to 5 % fast or slow. So nothing is stamped for good when it is measured:
instants keep the running time ("mark"), and are given their dates when sent, straight between the two
syncs around them. All in whole milliseconds: a board's floats are too short for dates.

Before the first sync and after the last, a date is as good as the rate is known: a sync is up to half a
second out, so the rate of two of them by a second over the time between; and over days the timer's mean
rate is taken to be steady to 0.01 %. What may be out by more than half a minute by that is called unsure.
"""

import struct

EARLIEST_MS = 1704067200000
"""2024-01-01: no sync can be older than this firmware."""
LATEST_MS = 4102444800000
BASELINE_MS = 500000
"""Two syncs closer together than this do not tell the rate: an answer's travel time would weigh too much."""
FAR_MS = 500000
"""At 5 % drift a date is 26 s out so long after or before a sync, and the sync itself up to 2.5 s."""
MOST_OUT_MS = 27000
SYNCS_OUT_MS = 1000
"""Two syncs together."""
STEADY = 10000
"""Over days the rate is steady to one part in so many."""
WIDEST_MS = 12 * 3600000
"""The rate is told from syncs no further apart than this, and no old instant waits longer for one."""
FURTHEST_MS = 219000000
"""So long before a first sync (two days and a half) a date can be sure once the rate was seen that long."""
MOST_POINTS = 32
"""On flash; RTC memory keeps the newest two."""
MOST_PAST = 6
MOST_PAST_POINTS = 8
MOST_DRIFT_PCT = 15
"""A clock further out than this has not drifted: somebody set it."""

_UNKNOWN = -(2**31)
_VERSION = 2
_HEAD = "<BIiIiB"
_POINT = "<QQ"
_PAST = "<IQB"


class Clock:
    """`points`: (mark_ms, time_ms) of the syncs of this boot. `past`: earlier boots as [boot, mark of the
    end, points]. `ppm`: what to add to running time, parts in a million; None before two syncs.
    `span_ms`: how far apart the syncs were that told it."""

    def __init__(self, boot: int = 0) -> None:
        self.boot = boot
        self.points: "list[tuple[int, int]]" = []
        self.past: "list[tuple[int, int, list[tuple[int, int]]]]" = []
        self.ppm: "int | None" = None
        self.span_ms = 0
        self.corrected_ms: "int | None" = None

    def sync(self, mark_ms: int, time_ms: int) -> str:
        """Take the date of a mark from a time server. Returns "", or what is odd about it in words."""
        if not EARLIEST_MS <= time_ms <= LATEST_MS:
            return "the time server says an impossible date"
        odd = ""
        if self.points:
            last_mark_ms, last_ms = self.points[-1]
            ran_ms, passed_ms = mark_ms - last_mark_ms, time_ms - last_ms
            self.corrected_ms = time_ms - self._here(mark_ms)
            if ran_ms < 0 or abs(passed_ms - ran_ms) * 100 > ran_ms * MOST_DRIFT_PCT + 6000000:
                odd = "the clock was %d s out" % (abs(self.corrected_ms) // 1000)
                self.points = []
            elif ran_ms < 1000:
                self.points.pop()
        self.points.append((mark_ms, time_ms))
        if len(self.points) > MOST_POINTS:
            _thin(self.points)
        rate = _rate(self.points, True)
        if rate is not None and rate[1] * 2 >= self.span_ms:  # what was seen for hours outlives new minutes
            self.ppm, self.span_ms = rate[0], min(rate[1], WIDEST_MS)
        return odd

    def time_ms(self, boot: int, mark_ms: int, said_ms: "int | None" = None) -> "tuple[int | None, bool]":
        """The date of a mark, and whether it is unsure: it may be out by more than half a minute.

        So it is where a power cut of unknown length lies between, and further from the syncs of its boot
        than the rate is known for. `said_ms` is what the clock made of it when it was measured. The date
        is None when there has been no sync since.
        """
        points = self._points_of(boot)
        if points:
            return self._dated(points, mark_ms), self.lacks_ms(points, mark_ms) > 0
        if boot == self.boot:
            return None, False
        if said_ms is not None:
            return said_ms, True
        if self.points:
            return self._dated(self.points, 0) - self._bridged(boot, mark_ms), True
        return None, True

    def age_ms(self, boot: int, mark_ms: int, now_mark_ms: int) -> "tuple[int, bool]":
        """How long ago a mark was, as far as running time tells, and whether that is unsure."""
        if boot != self.boot:
            return _true(now_mark_ms, self.ppm or 0) + self._bridged(boot, mark_ms), True
        ran_ms = max(0, now_mark_ms - mark_ms)
        return _true(ran_ms, self.ppm or 0), _lacks_ms(ran_ms, self.span_ms) > 0

    def lacks_ms(self, points: "list[tuple[int, int]]", mark_ms: int) -> int:
        """How much further apart the syncs would have to be for the date of this mark to be sure."""
        beyond_ms = max(points[0][0] - mark_ms, mark_ms - points[-1][0])
        return _lacks_ms(beyond_ms, self._best(points, mark_ms > points[0][0])[1])

    def waits_ms(self, boot: int, mark_ms: int) -> int:
        """How much longer to hold back what was measured at this mark or later, so that a further sync
        makes more of its dates sure: 0 where it would not."""
        longest_ms = 0
        for of_boot, end_mark_ms, points in self.past + [(self.boot, 0, self.points)]:
            if of_boot >= boot and points and self.points:
                begin_ms = max(mark_ms if of_boot == boot else 0, points[0][0] - FURTHEST_MS)
                end_ms = min(max(begin_ms, end_mark_ms), points[-1][0] + FURTHEST_MS)
                longest_ms = max(longest_ms, self.lacks_ms(points, begin_ms), self.lacks_ms(points, end_ms))
        return longest_ms

    def synced(self) -> bool:
        return bool(self.points)

    def age_of_sync_ms(self, now_mark_ms: int) -> "int | None":
        return now_mark_ms - self.points[-1][0] if self.points else None

    def start_boot(self, boot: int, end_mark_ms: "int | None") -> None:
        """The running time begins anew. `end_mark_ms`: the last mark of the boot before that is on flash,
        None when nothing of it is."""
        if end_mark_ms is not None:
            points = self.points
            while len(points) > MOST_PAST_POINTS:
                _thin(points)
            self.past = self.past[1 - MOST_PAST :] + [(self.boot, end_mark_ms, points)]
        self.boot = boot
        self.points = []
        self.corrected_ms = None

    def latest_ms(self) -> "int | None":
        """The latest date it was ever told: now it is no earlier."""
        dates_ms = [points[-1][1] for _, _, points in self.past if points]
        return max(dates_ms + [point[1] for point in self.points[-1:]], default=None)

    def forget(self, oldest_boot: int, oldest_mark_ms: int) -> None:
        """Let go of the syncs that nothing needs which was measured at this mark or later."""
        self.past = [past for past in self.past if past[0] >= oldest_boot]
        points = self.points
        if oldest_boot < self.boot:
            return
        while len(points) > 2 and points[1][0] <= oldest_mark_ms:
            ends_ms = points[-1][0]
            if ends_ms - points[0][0] > WIDEST_MS and ends_ms - points[1][0] >= BASELINE_MS:
                points.pop(0)
            elif points[2][0] <= oldest_mark_ms:
                points.pop(1)
            else:
                break

    def pack(self, whole: bool) -> bytes:
        """For flash (`whole`) or for RTC memory: then only the last syncs of this boot."""
        points = self.points if whole else self._newest()
        ppm = _UNKNOWN if self.ppm is None else self.ppm
        corrected_ms = (
            _UNKNOWN if self.corrected_ms is None else max(1 - 2**31, min(2**31 - 1, self.corrected_ms))
        )
        data = bytearray(
            struct.pack(_HEAD, _VERSION, self.boot, ppm, self.span_ms, corrected_ms, len(points))
        )
        for point in points:
            data += struct.pack(_POINT, point[0], point[1])
        for boot, end_mark_ms, past_points in self.past if whole else []:
            data += struct.pack(_PAST, boot, end_mark_ms, len(past_points))
            for point in past_points:
                data += struct.pack(_POINT, point[0], point[1])
        return bytes(data)

    def _newest(self) -> "list[tuple[int, int]]":
        """The last sync and the one before it that tells the rate best."""
        pair = _pair(self.points, True)
        return list(pair) if pair else self.points[-1:]

    def _points_of(self, boot: int) -> "list[tuple[int, int]]":
        if boot == self.boot:
            return self.points
        for past_boot, _, points in self.past:
            if past_boot == boot:
                return points
        return []

    def _here(self, mark_ms: int) -> int:
        return self._dated(self.points, mark_ms)

    def _dated(self, points: "list[tuple[int, int]]", mark_ms: int) -> int:
        """Straight between the syncs around a mark; before the first and after the last at the rate."""
        before = None
        for point in points:
            if mark_ms < point[0]:
                break
            before = point
        else:
            return points[-1][1] + _true(mark_ms - points[-1][0], self._best(points, True)[0])
        if before is None:
            return points[0][1] - _true(points[0][0] - mark_ms, self._best(points, False)[0])
        return before[1] + (mark_ms - before[0]) * (point[1] - before[1]) // (point[0] - before[0])

    def _best(self, points: "list[tuple[int, int]]", at_end: bool) -> "tuple[int, int]":
        """The rate at the first or last of these syncs, and how long it was seen [ms]: by themselves, or
        what is known of this timer from elsewhere, whichever was seen longer."""
        rate = _rate(points, at_end)
        return rate if rate is not None and rate[1] >= self.span_ms else (self.ppm or 0, self.span_ms)

    def _bridged(self, boot: int, mark_ms: int) -> int:
        """From a mark of an earlier boot to the start of this one, as if power had come back at once."""
        bridged_ms = 0
        for past_boot, end_mark_ms, _ in self.past:
            if past_boot == boot:
                bridged_ms += _true(max(0, end_mark_ms - mark_ms), self.ppm or 0)
            elif past_boot > boot:
                bridged_ms += _true(end_mark_ms, self.ppm or 0)
        return bridged_ms


def unpack(data: bytes) -> "Clock | None":
    """The clock that `pack` wrote; None when another firmware wrote it, or nobody."""
    if len(data) < struct.calcsize(_HEAD) or data[0] != _VERSION:
        return None
    _, boot, ppm, span_ms, corrected_ms, count = struct.unpack_from(_HEAD, data, 0)
    clock = Clock(boot)
    clock.span_ms = span_ms
    clock.ppm = None if ppm == _UNKNOWN else ppm
    clock.corrected_ms = None if corrected_ms == _UNKNOWN else corrected_ms
    clock.points, at = _points(data, struct.calcsize(_HEAD), count)
    while at < len(data):
        past_boot, end_mark_ms, count = struct.unpack_from(_PAST, data, at)
        points, at = _points(data, at + struct.calcsize(_PAST), count)
        clock.past.append((past_boot, end_mark_ms, points))
    return clock


def _points(data: bytes, at: int, count: int) -> "tuple[list[tuple[int, int]], int]":
    points = []
    for _ in range(count):
        points.append(struct.unpack_from(_POINT, data, at))
        at += struct.calcsize(_POINT)
    return points, at


def _true(ran_ms: int, ppm: int) -> int:
    return ran_ms + ran_ms * ppm // 1000000


def _pair(points: "list[tuple[int, int]]", at_end: bool) -> "tuple[tuple[int, int], tuple[int, int]] | None":
    """The first or last sync and the one that tells the rate beside it best: the furthest within WIDEST_MS,
    else the nearest. None where all are too close together, or there is but one."""
    if len(points) < 2:
        return None
    one, near = (points[-1], points[:-1]) if at_end else (points[0], points[:0:-1])
    best = None
    for other in near:  # from the furthest on
        apart_ms = abs(one[0] - other[0])
        if apart_ms >= BASELINE_MS:
            best = other
            if apart_ms <= WIDEST_MS:
                break
    if best is None:
        return None
    return (best, one) if at_end else (one, best)


def _rate(points: "list[tuple[int, int]]", at_end: bool) -> "tuple[int, int] | None":
    """Parts in a million to add to running time at the last or first of these syncs, and over how long [ms]
    that was seen."""
    pair = _pair(points, at_end)
    if pair is None:
        return None
    ran_ms = pair[1][0] - pair[0][0]
    return (pair[1][1] - pair[0][1] - ran_ms) * 1000000 // ran_ms, ran_ms


def _lacks_ms(beyond_ms: int, span_ms: int) -> int:
    """How much longer than `span_ms` the rate would have to be seen to be trusted so far beyond a sync."""
    if beyond_ms <= FAR_MS:
        return 0
    room_ms = MOST_OUT_MS - beyond_ms // STEADY
    needs_ms = beyond_ms * SYNCS_OUT_MS // room_ms if room_ms > 0 else 1 << 40
    return max(0, max(needs_ms, BASELINE_MS) - span_ms)


def _thin(points: "list[tuple[int, int]]") -> None:
    """Remove the sync that stands closest between its neighbours; the newest two stay."""
    closest = 1
    for index in range(2, len(points) - 2):
        if points[index + 1][0] - points[index - 1][0] < points[closest + 1][0] - points[closest - 1][0]:
            closest = index
    points.pop(closest)
