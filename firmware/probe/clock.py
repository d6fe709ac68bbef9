"""The probe's clock: its own running time, tied to the world at each sync.

A board's sleep timer runs up to 5 % fast or slow. So nothing is stamped for good when it is measured:
instants keep the running time ("mark"), and are given their dates when sent, straight between the two
syncs around them. All in whole milliseconds: a board's floats are too short for dates.
"""

import struct

EARLIEST_MS = 1704067200000
"""2024-01-01: no sync can be older than this firmware."""
LATEST_MS = 4102444800000
BASELINE_MS = 500000
"""Two syncs closer together than this do not tell the rate: an answer's travel time would weigh too much."""
FAR_MS = 560000
"""At 5 % drift a date is not quite half a minute out so long after or before a sync."""
MOST_POINTS = 32
"""On flash; RTC memory keeps the newest two."""
MOST_PAST = 6
MOST_PAST_POINTS = 8
MOST_DRIFT_PCT = 15
"""A clock further out than this has not drifted: somebody set it."""

_UNKNOWN = -(2**31)
_VERSION = 1
_HEAD = "<BIiiB"
_POINT = "<QQ"
_PAST = "<IQB"


class Clock:
    """`points`: (mark_ms, time_ms) of the syncs of this boot. `past`: earlier boots as [boot, mark of the
    end, points]. `ppm`: what to add to running time, parts in a million; None before two syncs."""

    def __init__(self, boot: int = 0) -> None:
        self.boot = boot
        self.points: "list[tuple[int, int]]" = []
        self.past: "list[tuple[int, int, list[tuple[int, int]]]]" = []
        self.ppm: "int | None" = None
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
        self.ppm = self._rate(self.ppm)
        return odd

    def time_ms(self, boot: int, mark_ms: int, said_ms: "int | None" = None) -> "tuple[int | None, bool]":
        """The date of a mark, and whether it is unsure: it may be out by more than half a minute.

        So it is where a power cut of unknown length lies between, and far from the only sync while
        nothing tells the rate. `said_ms` is what the clock made of it when it was measured. The date is
        None when there has been no sync since.
        """
        if boot == self.boot:
            if not self.points:
                return None, False
            return self._here(mark_ms), self._is_far(self.points, mark_ms)
        for past_boot, _, points in self.past:
            if past_boot == boot and points:
                return _between(points, mark_ms, self._of(points)), self._is_far(points, mark_ms)
        if said_ms is not None:
            return said_ms, True
        bridged_ms = self._bridged(boot, mark_ms)
        if self.points and bridged_ms is not None:
            return self._here(0) - bridged_ms, True
        return None, True

    def age_ms(self, boot: int, mark_ms: int, now_mark_ms: int) -> int:
        """How long ago a mark was, as far as running time tells."""
        if boot == self.boot:
            return max(0, self._true(now_mark_ms - mark_ms))
        return self._true(now_mark_ms) + self._bridged(boot, mark_ms)

    def wants_second(self, oldest_mark_ms: int) -> bool:
        """Whether this boot's instants are so much older than its only sync that drift would misdate them."""
        if not self.points or self.points[-1][0] - self.points[0][0] >= BASELINE_MS:
            return False
        return self.points[0][0] - oldest_mark_ms > BASELINE_MS

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

    def forget(self, oldest_boot: int, oldest_mark_ms: int) -> None:
        """Let go of the syncs that nothing needs which was measured at this mark or later."""
        self.past = [past for past in self.past if past[0] >= oldest_boot]
        if oldest_boot < self.boot:
            return
        points = self.points
        while (
            len(points) > 2 and points[1][0] <= oldest_mark_ms and points[-1][0] - points[1][0] >= BASELINE_MS
        ):
            points.pop(0)

    def pack(self, whole: bool) -> bytes:
        """For flash (`whole`) or for RTC memory: then only the last syncs of this boot."""
        points = self.points if whole else self._newest()
        ppm = _UNKNOWN if self.ppm is None else self.ppm
        corrected_ms = (
            _UNKNOWN if self.corrected_ms is None else max(1 - 2**31, min(2**31 - 1, self.corrected_ms))
        )
        data = bytearray(struct.pack(_HEAD, _VERSION, self.boot, ppm, corrected_ms, len(points)))
        for point in points:
            data += struct.pack(_POINT, point[0], point[1])
        for boot, end_mark_ms, past_points in self.past if whole else []:
            data += struct.pack(_PAST, boot, end_mark_ms, len(past_points))
            for point in past_points:
                data += struct.pack(_POINT, point[0], point[1])
        return bytes(data)

    def _newest(self) -> "list[tuple[int, int]]":
        """The last sync and one far enough before it to tell the rate."""
        points = self.points
        for point in reversed(points):
            if points[-1][0] - point[0] >= BASELINE_MS:
                return [point, points[-1]]
        return points[-1:]

    def _here(self, mark_ms: int) -> int:
        return _between(self.points, mark_ms, self._rate(self.ppm) or 0)

    def _rate(self, known_ppm: "int | None") -> "int | None":
        """From the newest pair of syncs far enough apart, else what was known."""
        points = self.points
        for point in reversed(points):
            ran_ms = points[-1][0] - point[0]
            if ran_ms >= BASELINE_MS:
                return (points[-1][1] - point[1] - ran_ms) * 1000000 // ran_ms
        return known_ppm

    def _of(self, points: "list[tuple[int, int]]") -> int:
        ran_ms = points[-1][0] - points[0][0]
        if ran_ms >= BASELINE_MS:
            return (points[-1][1] - points[0][1] - ran_ms) * 1000000 // ran_ms
        return self.ppm or 0

    def _is_far(self, points: "list[tuple[int, int]]", mark_ms: int) -> bool:
        if self.ppm is not None or points[-1][0] - points[0][0] >= BASELINE_MS:
            return False
        return not points[0][0] - FAR_MS <= mark_ms <= points[-1][0] + FAR_MS

    def _true(self, ran_ms: int) -> int:
        return ran_ms + ran_ms * (self.ppm or 0) // 1000000

    def _bridged(self, boot: int, mark_ms: int) -> int:
        """From a mark of an earlier boot to the start of this one, as if power had come back at once."""
        bridged_ms = 0
        for past_boot, end_mark_ms, _ in self.past:
            if past_boot == boot:
                bridged_ms += self._true(max(0, end_mark_ms - mark_ms))
            elif past_boot > boot:
                bridged_ms += self._true(end_mark_ms)
        return bridged_ms


def unpack(data: bytes) -> "Clock | None":
    """The clock that `pack` wrote; None when another firmware wrote it, or nobody."""
    if len(data) < struct.calcsize(_HEAD) or data[0] != _VERSION:
        return None
    _, boot, ppm, corrected_ms, count = struct.unpack_from(_HEAD, data, 0)
    clock = Clock(boot)
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


def _between(points: "list[tuple[int, int]]", mark_ms: int, ppm: int) -> int:
    """Straight between the syncs around a mark; beyond the first and last at the rate."""
    before = None
    for point in points:
        if mark_ms < point[0]:
            break
        before = point
    else:
        ran_ms = mark_ms - points[-1][0]
        return points[-1][1] + ran_ms + ran_ms * ppm // 1000000
    if before is None:
        ran_ms = points[0][0] - mark_ms
        if len(points) > 1 and points[1][0] - points[0][0] >= BASELINE_MS:
            span_ms = points[1][0] - points[0][0]
            return points[0][1] - ran_ms * (points[1][1] - points[0][1]) // span_ms
        return points[0][1] - ran_ms - ran_ms * ppm // 1000000
    return before[1] + (mark_ms - before[0]) * (point[1] - before[1]) // (point[0] - before[0])


def _thin(points: "list[tuple[int, int]]") -> None:
    """Remove the sync that stands closest between its neighbours; the newest two stay."""
    closest = 1
    for index in range(2, len(points) - 2):
        if points[index + 1][0] - points[index - 1][0] < points[closest + 1][0] - points[closest - 1][0]:
            closest = index
    points.pop(closest)
