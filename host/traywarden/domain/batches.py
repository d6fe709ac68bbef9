"""A batch: one sowing as it came up, from the dated counts in the journal."""

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

from traywarden.domain.germination_metrics import Floats, GerminationMetrics, germination_metrics
from traywarden.domain.interval_censored import Between, between
from traywarden.domain.journal import Entry, Facts, Kind

DAY_MS = 86_400_000
COMPLETE_D = 21.0
"""Age at which a batch is taken to have come up as far as it ever will (common practice, no source)."""
RISING = 0.05
"""A batch whose last count brought more than this part of all its seedlings is still rising (no source)."""


@dataclass(frozen=True, slots=True)
class NewlyUp:
    """So many seedlings were seen at to_ms that were not yet up at from_ms; none is a count too."""

    from_ms: int
    to_ms: int
    newly_up: int


@dataclass(frozen=True, slots=True)
class Batch:
    """One sowing with its counts, oldest first. `sown`: seeds, None where that is not known.

    `seen_ms` is when some were first written down as up, counted or not. `filled` is the newest count of
    cells with at least one seedling, and of the seedlings in them. `fell` holds the counts lower than one
    before: when, how many, after how many. `ended_ms` is when the tray was sown anew or planted out.
    """

    sowing: Entry
    sown: int | None
    counts: tuple[NewlyUp, ...] = ()
    seen_ms: int | None = None
    ended_ms: int | None = None
    filled: tuple[int, int] | None = None
    fell: tuple[tuple[int, int, int], ...] = ()
    more_than_sown: bool = False

    @property
    def up(self) -> int:
        return sum(count.newly_up for count in self.counts)

    @property
    def watched_d(self) -> float | None:
        """Age at the last count [d]; None without one."""
        return self.days(self.counts[-1].to_ms) if self.counts else None

    @property
    def still_rising(self) -> bool:
        """Whether the last count brought more than a twentieth of all, and nothing has ended the batch."""
        return bool(self.counts) and self.ended_ms is None and self.counts[-1].newly_up > RISING * self.up

    @property
    def complete(self) -> bool:
        """Whether its number can stand for what comes up: the last count brought hardly any, or was late."""
        if not self.counts or self.watched_d is None:
            return False
        settled = self.up > 0 and self.counts[-1].newly_up <= RISING * self.up
        return settled or self.watched_d >= COMPLETE_D

    def days(self, at_ms: int) -> float:
        return (at_ms - self.sowing.at_ms) / DAY_MS

    def within(self, longest_d: float) -> "Batch":
        """The same batch as known from the counts up to that age [d]."""
        kept = tuple(count for count in self.counts if self.days(count.to_ms) <= longest_d)
        return Batch(self.sowing, self.sown, kept, self.seen_ms, self.ended_ms)

    def between(self) -> Between:
        """The seedlings that came up, each in its span of days since sowing."""
        return between(
            [self.days(count.from_ms) for count in self.counts],
            [self.days(count.to_ms) for count in self.counts],
            [count.newly_up for count in self.counts],
        )

    def steps(self) -> tuple[Floats, Floats]:
        """Days since sowing of each count, and the new seedlings it brought."""
        day_d = np.array([self.days(count.to_ms) for count in self.counts])
        return day_d, np.array([count.newly_up for count in self.counts], dtype=np.float64)

    def metrics(self) -> GerminationMetrics | None:
        """The published figures; None without a count."""
        return germination_metrics(*self.steps(), self.sown) if self.counts else None


def batch_of(facts: Facts, sowing: Entry, sown: int | None, until_ms: int) -> Batch:
    """The batch that a sowing became, as far as it was written down by `until_ms`.

    Counts are of all seedlings up so far; what is new at one is what it is above the highest before. A
    lower one (plants died, or were pricked out) brings nothing new and is told in `fell`. It ends where the
    tray is sown anew or planted out. A count on the very instant of the sowing is left out.
    """
    of_tray = [
        e
        for e in facts.of_tray(sowing.tray_id or -1)
        if (e.at_ms, e.entry_id) > (sowing.at_ms, sowing.entry_id)
    ]
    ended_ms = next((e.at_ms for e in of_tray if e.kind in (Kind.SOWED, Kind.PLANTED_OUT)), None)
    if ended_ms is not None and ended_ms > until_ms:
        ended_ms = None
    end_ms = until_ms if ended_ms is None else min(until_ms, ended_ms)
    seen = [e for e in of_tray if e.kind is Kind.EMERGED and sowing.at_ms < e.at_ms <= end_ms]
    counts, fell = _counts(sowing.at_ms, seen)
    up = sum(count.newly_up for count in counts)
    too_many = sown is not None and up > sown
    return Batch(
        sowing,
        None if too_many else sown,
        counts,
        next((e.at_ms for e in seen if e.data.get("count") != 0), None),
        ended_ms,
        next((_filled(e) for e in reversed(seen) if {"filled_cells", "count"} <= e.data.keys()), None),
        fell,
        too_many,
    )


def _filled(entry: Entry) -> tuple[int, int]:
    return int(entry.data["filled_cells"]), int(entry.data["count"])


def batches_of_tray(facts: Facts, tray_id: int, until_ms: int) -> list[Entry]:
    """The sowings of a tray up to an instant, oldest first."""
    return [e for e in facts.of_tray(tray_id, Kind.SOWED) if e.at_ms <= until_ms]


def _counts(
    sown_ms: int, seen: Iterable[Entry]
) -> tuple[tuple[NewlyUp, ...], tuple[tuple[int, int, int], ...]]:
    by_time = {e.at_ms: int(e.data["count"]) for e in seen if e.data.get("count") is not None}
    counts: list[NewlyUp] = []
    fell: list[tuple[int, int, int]] = []
    from_ms, highest = sown_ms, 0
    for at_ms, up in sorted(by_time.items()):
        counts.append(NewlyUp(from_ms, at_ms, max(0, up - highest)))
        if up < highest:
            fell.append((at_ms, up, highest))
        from_ms, highest = at_ms, max(highest, up)
    return tuple(counts), tuple(fell)
