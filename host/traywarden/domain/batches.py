"""A batch: one sowing as it came up, from the dated counts in the journal."""

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from traywarden.domain.germination_metrics import (
    Floats,
    GerminationMetrics,
    germination_metrics,
    reached_d,
)
from traywarden.domain.interval_censored import Between, between
from traywarden.domain.journal import Entry, Kind
from traywarden.domain.sown_spans import SownSpan
from traywarden.domain.still_to_come import still_to_come

DAY_MS = 86_400_000
COMPLETE_D = 21.0
"""Age at which one of which none is up is taken to have failed, and at which a count that nobody made before
counts (common practice, no source)."""
RISING = 0.05
"""A batch whose last count brought more than this part of all its seedlings is still rising (no source)."""
EXPECTED = 0.02
"""… and so is one that can still be expected to bring more than this part of them (chosen on invented trays:
docs/batches.md)."""
NEXT_DAY_D = 0.75
"""The last count is held against one at least so much older [d]: two of one day show no end (no source)."""
CLEAR_STEP_D = 1.5
"""Between two visits no further apart than this [d] a straight line is as good as a look (no source)."""
MOST_IN_STEP = 2 / 3
"""Where times to come up are normal, a straight line through a step is off by no more than a quarter of it,
as long as no more than this part of all seedlings came in it (worked out in the tests)."""


@dataclass(frozen=True, slots=True)
class NewlyUp:
    """So many seedlings were seen at to_ms that were not yet up at from_ms; none is a count too."""

    from_ms: int
    to_ms: int
    newly_up: int


@dataclass(frozen=True, slots=True)
class Known:
    """Seedlings up at an age: at least `fewest`, at most `most`; None where not even that is known.

    `at_d` is the age at the count it is known from [d]; None where nobody counted near enough.
    """

    fewest: int
    most: int | None
    at_d: float | None

    @property
    def exact(self) -> bool:
        return self.fewest == self.most


@dataclass(frozen=True, slots=True)
class Reached:
    """A part of the seedlings was up between two visits [d since sowing].

    `at_d` is by a straight line between them; None where that would be a guess.
    """

    from_d: float
    to_d: float
    at_d: float | None


@dataclass(frozen=True, slots=True)
class Batch:
    """One sowing with its counts, oldest first. `sown`: seeds, None where that is not known.

    `seen_ms` is when some were first written down as up, counted or not. `filled` is the newest count of
    cells with at least one seedling, and of the seedlings in them. `fell` holds the counts lower than one
    before: when, how many, after how many. `ended_ms` is when the tray was sown anew or planted out, or its
    seedlings potted up. Not `teaches`: the grower left the sowing, or one of its counts, out of learning.
    """

    sowing: Entry
    sown: int | None
    counts: tuple[NewlyUp, ...] = ()
    seen_ms: int | None = None
    ended_ms: int | None = None
    filled: tuple[int, int] | None = None
    fell: tuple[tuple[int, int, int], ...] = ()
    more_than_sown: bool = False
    teaches: bool = True

    @property
    def up(self) -> int:
        return sum(count.newly_up for count in self.counts)

    @property
    def watched_d(self) -> float | None:
        """Age at the last count [d]; None without one."""
        return self.days(self.counts[-1].to_ms) if self.counts else None

    @property
    def still_rising(self) -> bool:
        """Whether its number is not yet what comes up in all: it was counted, but neither to the end nor
        until what had come up was potted up or planted out."""
        done = self.ended_ms is not None and self.up > 0
        return bool(self.counts) and not (self.complete or done)

    @property
    def rose(self) -> bool:
        """Whether more than a twentieth of all came since the count before, of another day."""
        if not self.counts:
            return False
        before_ms = self.counts[-1].to_ms - NEXT_DAY_D * DAY_MS
        return sum(c.newly_up for c in self.counts if c.to_ms > before_ms) > RISING * self.up

    @property
    def to_come(self) -> float:
        """Seedlings that can still be expected, by how it came up so far; 0.0 where none is up."""
        if not self.up:
            return 0.0
        day_d, new = self.steps()
        return still_to_come(tuple(day_d.tolist()), tuple(new.tolist()), self.sown)

    @property
    def complete(self) -> bool:
        """Whether its number can stand for what comes up: hardly any more can be expected after the last
        count, and that one brought hardly any, or was late. None up count as the end only late."""
        if not self.counts or self.watched_d is None:
            return False
        late = self.watched_d >= COMPLETE_D
        if not self.up:
            return late
        return self.up == self.sown or (self.to_come <= EXPECTED * self.up and (late or not self.rose))

    def days(self, at_ms: int) -> float:
        return (at_ms - self.sowing.at_ms) / DAY_MS

    def within(self, longest_d: float) -> "Batch":
        """The same batch as known from the counts up to that age [d]."""
        kept = tuple(count for count in self.counts if self.days(count.to_ms) <= longest_d)
        return Batch(self.sowing, self.sown, kept, self.seen_ms, self.ended_ms)

    def up_at(self, age_d: float, near_d: float) -> Known:
        """How many were up at an age [d], from the nearest count within `near_d` of it, if there is one.

        Else no fewer than at the count before it, and no more than at the one after: a count that was not
        made says nothing. Up to the first count that may be any number from none on.
        """
        day_d, new = self.steps()
        up = np.cumsum(new).astype(np.int64)
        if day_d.size and np.abs(day_d - age_d).min() <= near_d:
            nearest = int(np.abs(day_d - age_d).argmin())
            return Known(int(up[nearest]), int(up[nearest]), float(day_d[nearest]))
        before = int(np.searchsorted(day_d, age_d, side="right"))
        fewest = int(up[before - 1]) if before else 0
        most = int(up[before]) if before < day_d.size else self.sown
        return Known(fewest, most, None)

    def between(self) -> Between:
        """The seedlings that came up, each in its span of days since sowing."""
        return between(
            [self.days(count.from_ms) for count in self.counts],
            [self.days(count.to_ms) for count in self.counts],
            [count.newly_up for count in self.counts],
        )

    def reached(self, part: float) -> Reached | None:
        """When that part, 0 to 1, of those that came up was up; None where none came up."""
        if not self.up:
            return None
        spans = self.between()
        step = int(np.searchsorted(np.cumsum(spans.count), part * self.up - 1e-9))
        at_d = None if vague_steps(spans)[step] else reached_d(*self.steps(), part * self.up)
        return Reached(float(spans.from_d[step]), float(spans.to_d[step]), at_d)

    @property
    def spread_d(self) -> float | None:
        """Days in which four in five came up, from 10 to 90 %; None where the visits leave that open."""
        first, last = self.reached(0.1), self.reached(0.9)
        if first is None or last is None or first.at_d is None or last.at_d is None:
            return None
        return last.at_d - first.at_d

    def steps(self) -> tuple[Floats, Floats]:
        """Days since sowing of each count, and the new seedlings it brought."""
        day_d = np.array([self.days(count.to_ms) for count in self.counts])
        return day_d, np.array([count.newly_up for count in self.counts], dtype=np.float64)

    def metrics(self) -> GerminationMetrics | None:
        """The published figures; None without a count."""
        return germination_metrics(*self.steps(), self.sown) if self.counts else None


def vague_steps(spans: Between) -> NDArray[np.bool_]:
    """Steps between two visits in which nobody can say when a seedling came up.

    Long ones that reach back to the sowing, as seed takes its time, or that hold nearly all of the seedlings.
    """
    long = spans.to_d - spans.from_d > CLEAR_STEP_D
    return np.asarray(long & ((spans.from_d <= 0) | (spans.count > MOST_IN_STEP * spans.count.sum())))


def batch_of(span: SownSpan, sown: int | None) -> Batch:
    """The batch that a sowing became, as far as it was written down.

    Counts are of all seedlings up so far; what is new at one is what it is above the highest before. A
    lower one (plants died, or were miscounted) brings nothing new and is told in `fell`; once seedlings were
    potted up, a lower one counts what was left, and says nothing. The batch ends where the tray is sown anew
    or planted out, or its seedlings are potted up and no more are counted.
    """
    seen = [e for e in span.entries if e.kind is Kind.EMERGED]
    taken_ms = next((e.at_ms for e in span.entries if e.kind is Kind.POTTED_UP), None)
    counts, fell = _counts(span.sowing.at_ms, seen, taken_ms)
    up = sum(count.newly_up for count in counts)
    too_many = sown is not None and up > sown
    done = taken_ms is not None and not (counts and counts[-1].to_ms > taken_ms)
    return Batch(
        span.sowing,
        None if too_many else sown,
        counts,
        next((e.at_ms for e in seen if e.data.get("count") != 0), None),
        span.end_ms if span.end_ms is not None or not done else taken_ms,
        next((_filled(e) for e in reversed(seen) if {"filled_cells", "count"} <= e.data.keys()), None),
        fell,
        too_many,
        all(e.data.get("learn") is not False for e in (span.sowing, *seen)),
    )


def _filled(entry: Entry) -> tuple[int, int]:
    return int(entry.data["filled_cells"]), int(entry.data["count"])


def _counts(
    sown_ms: int, seen: Iterable[Entry], taken_ms: int | None
) -> tuple[tuple[NewlyUp, ...], tuple[tuple[int, int, int], ...]]:
    by_time = {e.at_ms: int(e.data["count"]) for e in seen if e.data.get("count") is not None}
    counts: list[NewlyUp] = []
    fell: list[tuple[int, int, int]] = []
    from_ms, highest = sown_ms, 0
    for at_ms, up in sorted(by_time.items()):
        if up < highest:
            if taken_ms is not None and at_ms > taken_ms:
                continue
            fell.append((at_ms, up, highest))
        counts.append(NewlyUp(from_ms, at_ms, max(0, up - highest)))
        from_ms, highest = at_ms, max(highest, up)
    return tuple(counts), tuple(fell)
