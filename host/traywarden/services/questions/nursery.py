"""What questions about emergence share: progress of sowings and learned factors, computed once."""

from dataclasses import dataclass

import numpy as np

from traywarden.domain.development import RateCurve, curve_for
from traywarden.domain.emergence import Expectation, expect
from traywarden.domain.ensemble import Ensemble
from traywarden.domain.factors import Belief, Learned, Told, expected, learn
from traywarden.domain.hourly import Hourly, hourly_together
from traywarden.domain.looks import Look, log_likelihood
from traywarden.domain.progress import Progress, progress_since
from traywarden.services.questions.ground import DAY_MS, Ground
from traywarden.services.questions.sowings import Sowing, sowings
from traywarden.store.crops import load_crops, load_heat_sums

LEAD_MS = 8 * DAY_MS
"""Readings before a sowing that its gaps may be filled from, and that its coming days may be like."""
LONGEST_D = 90
"""A sowing teaches no more after so many days, and the newest so many sowings of a crop are enough."""
MOST_SOWINGS = 24
FOLLOWED_D = 200
"""A sowing that has not come up is followed no longer than this; the slowest printed takes 172 days."""

MOST_AT_HAND = 2 * MOST_SOWINGS
"""The hours of so many sowings are held: a season of a thousand trays would fill the memory."""


@dataclass(frozen=True, slots=True, eq=False)
class Lesson:
    """What one sowing taught, or why nothing."""

    sowing: Sowing
    told: Told | None
    why_not: str = ""


class Nursery:
    """The sowings of a garden as of one instant; what one question after another asks is computed once."""

    def __init__(self, ground: Ground) -> None:
        self.ground = ground
        self.sowings = sowings(ground)
        self._curves: dict[str, RateCurve] = {}
        self._hours: dict[int, Hourly] = {}
        self._learned: dict[str, tuple[Learned, list[Lesson]]] = {}

    @property
    def seed_log_sd(self) -> float:
        return float(self.ground.settings["emergence.seed_spread"])

    def current(self, tray_id: int) -> Sowing | None:
        """What stands sown in a tray now."""
        mine = [s for s in self.sowings if s.tray.tray_id == tray_id and s.end_ms is None]
        return mine[-1] if mine else None

    def curve(self, crop_key: str) -> RateCurve:
        if crop_key not in self._curves:
            crop = load_crops()[crop_key]
            self._curves[crop_key] = curve_for(crop, load_heat_sums().get(crop_key))
        return self._curves[crop_key]

    def hours(self, sowing: Sowing) -> Hourly:
        """The tray's hours around a sowing, up to its end or now."""
        key = sowing.entry.entry_id
        if key not in self._hours:
            if len(self._hours) >= MOST_AT_HAND:
                del self._hours[next(iter(self._hours))]  # the oldest: sowings are gone through in turn
            end_ms = self.until_ms(sowing) + 1
            start_ms = sowing.entry.at_ms - LEAD_MS
            heads = self.ground.tray_hourly(sowing.tray.tray_id, start_ms, end_ms)
            self._hours[key] = hourly_together(heads, sowing.tray.name)
        return self._hours[key]

    def until_ms(self, sowing: Sowing) -> int:
        """How far a sowing is followed: to now while it matters, an ended one while it taught."""
        sown_ms, now_ms = sowing.entry.at_ms, self.ground.now_ms
        if sowing.end_ms is None:
            return min(now_ms, sown_ms + (LONGEST_D if sowing.up else FOLLOWED_D) * DAY_MS)
        last_ms = max((seen.at_ms for seen in sowing.seen), default=sown_ms)
        return min(last_ms, sowing.end_ms, sown_ms + LONGEST_D * DAY_MS)

    def progress(self, sowing: Sowing, curve: RateCurve, until_ms: int) -> Progress:
        hours = self.hours(sowing)
        return progress_since(
            hours.hour_s,
            hours.soil_temp_c,
            sowing.entry.at_ms / 1000,
            until_ms / 1000,
            curve,
            least_coverage=self.ground.settings["coverage.least"],
            longest_gap_s=self.ground.settings["coverage.longest_gap_s"],
        )

    def looks(self, sowing: Sowing, progress: Progress) -> list[Look]:
        """What was seen and may teach, each with the progress it was seen at."""
        taught = [seen for seen in sowing.seen if seen.teaches]
        found = [Look(progress.at(seen.at_ms / 1000), seen.count) for seen in taught]
        return [look for look in found if look.progress > 0]

    def learned(self, crop_key: str) -> tuple[Learned, list[Lesson]]:
        """The crop's factor with that of its lots, and what each of its sowings taught."""
        if crop_key not in self._learned:
            mine = [s for s in self.sowings if s.crop and s.crop.key == crop_key][-MOST_SOWINGS:]
            lessons = [self._lesson(sowing) for sowing in mine]
            told = [lesson.told for lesson in lessons if lesson.told]
            self._learned[crop_key] = (learn(self.curve(crop_key).log_sd, told), lessons)
        return self._learned[crop_key]

    def beforehand(self, sowing: Sowing) -> Belief:
        """What the sowing is to expect of its factor, its own looks left aside."""
        assert sowing.crop is not None
        learned, _ = self.learned(sowing.crop.key)
        return expected(learned, sowing.entry.entry_id, sowing.lot.lot_id if sowing.lot else None)

    def expected(
        self, sowing: Sowing, progress: Progress, ahead: Ensemble | None
    ) -> tuple[Expectation, Belief]:
        """What is expected of a sowing, and what is believed of its factor, given what was seen of it.

        Without the coming hours (`ahead`) only what should have come by now is told.
        """
        assert sowing.crop is not None
        beforehand = self.beforehand(sowing)
        looks = self.looks(sowing, progress)
        likelihood = log_likelihood(looks, sowing.seeds, seed_log_sd=self.seed_log_sd)
        seen = beforehand.given(likelihood) if looks else beforehand
        none_up_ms = sowing.none_up_ms
        found = expect(
            progress,
            self.curve(sowing.crop.key),
            ahead,
            beforehand,
            seen,
            sowing.seeds,
            none_up_s=None if none_up_ms is None else none_up_ms / 1000,
            seed_log_sd=self.seed_log_sd,
        )
        return found, seen

    def _lesson(self, sowing: Sowing) -> Lesson:
        assert sowing.crop is not None
        if not sowing.learns:
            return Lesson(sowing, None, "left out of learning by you")
        if not sowing.seen:
            return Lesson(sowing, None, "nothing was written down of its emergence")
        if not any(seen.teaches for seen in sowing.seen):
            return Lesson(sowing, None, "what was seen of it is left out of learning by you")
        curve = self.curve(sowing.crop.key)
        last_ms = min(sowing.seen[-1].at_ms, sowing.entry.at_ms + LONGEST_D * DAY_MS)
        progress = self.progress(sowing, curve, last_ms)
        if progress.blind:
            return Lesson(sowing, None, progress.blind)
        looks = self.looks(sowing, progress)
        if not looks:
            return Lesson(sowing, None, "it had not begun to develop when it was looked at")
        seen = log_likelihood(looks, sowing.seeds, seed_log_sd=self.seed_log_sd)
        own_sd = float(np.hypot(progress.gap_log_sd, progress.unsure_share * curve.unsure_log_sd))
        lot = sowing.lot.lot_id if sowing.lot else None
        return Lesson(sowing, Told(sowing.entry.entry_id, lot, seen, own_sd))
