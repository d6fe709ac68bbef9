"""When will the seed in a tray come up, is it late and why, and what do degree-days say beside it."""

import numpy as np

from traywarden.domain.crops import Crop, HeatSum
from traywarden.domain.development import Basis, RateCurve
from traywarden.domain.emergence import Expectation, Window, expect, horizon_h
from traywarden.domain.factors import Belief
from traywarden.domain.garden import Tray
from traywarden.domain.heat_sums import SecondOpinion, fitted_heat_sum, second_opinion, straight_curve
from traywarden.domain.lateness import Cause, SeedLot, Verdict, causes, likeliest
from traywarden.domain.looks import log_likelihood
from traywarden.domain.progress import Progress
from traywarden.domain.recent_days import HOUR_S, Temperatures
from traywarden.services.lots import age_years
from traywarden.services.questions.emergence_answer import (
    COMING_UP,
    LATE,
    NOTHING_SOWN,
    ON_ITS_WAY,
    UNKNOWN,
    UP,
    Between,
    Done,
    EmergenceAnswer,
    Opinion,
    TrayEmergence,
    Why,
)
from traywarden.services.questions.ground import DAY_MS, Ground
from traywarden.services.questions.nursery import Ahead, Nursery, from_recent_days
from traywarden.services.questions.sowings import Sowing
from traywarden.store.crops import load_heat_sums, load_seed


def ask_emergence(ground: Ground, tray: str = "", ahead: Ahead = from_recent_days) -> EmergenceAnswer:
    """How far the seed of one tray, or of every tray, has come, and when it will be up.

    `ahead` says what temperatures may come; by default days drawn from the tray's own last seven.

    Raises UsageError (no tray yet), UnknownNameError, ShortOfDataError (nothing was ever measured).
    """
    chosen = ground.chosen_trays(tray)
    ground.need_readings()
    nursery = Nursery(ground)
    answers = tuple(_tray(ground, nursery, each, ahead) for each in chosen)
    return EmergenceAnswer(ground.garden.name, ground.at(ground.now_ms), answers)


def _tray(ground: Ground, nursery: Nursery, tray: Tray, ahead: Ahead) -> TrayEmergence:
    place = ground.place_of(tray.tray_id, ground.now_ms)
    where = place.name if place else None
    sowing = nursery.current(tray.tray_id)
    if sowing is None:
        return TrayEmergence(tray.name, where, NOTHING_SOWN, "Nothing stands sown in it.")
    if sowing.crop is None:
        name = str(sowing.entry.data.get("crop") or "its crop")
        return TrayEmergence(tray.name, where, UNKNOWN, f"{name} is not in the table of crops.")
    return _Asked(ground, nursery, sowing, sowing.crop, where, ahead).answer()


class _Asked:
    """One sowing of a known crop."""

    def __init__(
        self, ground: Ground, nursery: Nursery, sowing: Sowing, crop: Crop, where: str | None, ahead: Ahead
    ) -> None:
        self._ground, self._nursery, self._sowing, self._crop = ground, nursery, sowing, crop
        self._where, self._ahead = where, ahead
        self._curve = nursery.curve(crop.key)
        self._until_ms = nursery.until_ms(sowing)

    def answer(self) -> TrayEmergence:
        sowing, ground = self._sowing, self._ground
        progress = self._nursery.progress(sowing, self._curve, self._until_ms)
        if progress.blind:
            return self._told(UNKNOWN, f"It cannot be told: {progress.blind}.", progress)
        beforehand = self._nursery.beforehand(sowing)
        looks = self._nursery.looks(sowing, progress)
        likelihood = log_likelihood(looks, sowing.seeds, seed_log_sd=self._nursery.seed_log_sd)
        seen = beforehand.given(likelihood) if looks else beforehand
        hours = self._nursery.hours(sowing)
        recent = hours.soil_temp_c[-7 * 24 :]
        wanted_h = 0 if self._all_up() else horizon_h(progress, self._curve, recent)
        ahead = self._ahead(ground, sowing.tray, hours, wanted_h) if wanted_h else None
        none_up_ms = sowing.none_up_ms
        found = expect(
            progress,
            self._curve,
            ahead,
            beforehand,
            seen,
            sowing.seeds,
            none_up_s=None if none_up_ms is None else none_up_ms / 1000,
            seed_log_sd=self._nursery.seed_log_sd,
        )
        state = self._state(found)
        why = self._causes(progress) if state == LATE else []
        return self._told(
            state,
            self._sentence(state, found, why, ahead),
            progress,
            found=found,
            seen=seen,
            why=why,
            opinion=self._degree_days(progress, ahead),
            ahead=ahead,
        )

    def _all_up(self) -> bool:
        most, seeds = self._sowing.most_up, self._sowing.seeds
        return most is not None and most >= 0.5 * seeds.count * seeds.germination

    def _state(self, found: Expectation) -> str:
        if self._sowing.up:
            return UP if self._all_up() or found.done[0] > 1.0 else COMING_UP
        return LATE if found.overdue else ON_ITS_WAY

    def _sentence(self, state: str, found: Expectation, why: list[Cause], ahead: Temperatures | None) -> str:
        up = self._sowing.up
        if up is not None and state in (UP, COMING_UP):
            words = f"{self._crop.name} is up since {self._day(up.at_ms / 1000)}"
            if most := self._sowing.most_up:
                sown = self._sowing.seeds.count
                words += (
                    f", {most} seedling{'' if most == 1 else 's'} of {sown} seed{'' if sown == 1 else 's'}"
                )
            if state == COMING_UP and found.half.mid_s is not None:
                words += f"; half of what will come is expected by {self._span(found.half)}"
            return f"{words}."
        part = f"{self._crop.name} is {found.done[1] * 100:.0f} % of the way"
        if state == LATE:
            found_why = likeliest(why)
            reason = (
                "likely because: " if found_why and found_why[0].verdict is Verdict.LIKELY else "perhaps: "
            )
            because = (
                reason + ", ".join(cause.name for cause in found_why)
                if found_why
                else ("nothing in the record says why")
            )
            return f"{self._crop.name} is late: nine in ten such sowings would have shown by now; {because}."
        if ahead is None:
            return f"{part}; when it will be up cannot be told without a whole day of its temperature."
        now_s = self._ground.now_ms / 1000
        if found.first.mid_s is None:
            days = (found.until_s - now_s) / 86400
            return f"{part}; at the temperatures of late it will not be up within {days:.0f} days."
        if found.first.mid_s < now_s:
            half = self._span(found.half)
            since = self._span(found.first)
            return f"{part}: the first may be up, expected {since}, so look; half up about {half}."
        first, half = self._span(found.first), self._span(found.half)
        return f"{part}: first seedlings about {first}, half up about {half}."

    def _span(self, window: Window) -> str:
        if window.mid_s is None:
            return "later than can be foreseen"
        low = self._day(window.low_s) if window.low_s is not None else "?"
        high = self._day(window.high_s) if window.high_s is not None else "later than can be foreseen"
        return f"{self._day(window.mid_s)} ({low} to {high})"

    def _day(self, at_s: float) -> str:
        at = self._ground.at(at_s * 1000)
        return f"{at:%a} {at.day} {at:%b}"

    def _causes(self, progress: Progress) -> list[Cause]:
        ground, sowing = self._ground, self._sowing
        hours = self._nursery.hours(sowing)
        since = hours.hour_s >= sowing.entry.at_ms / 1000 - HOUR_S
        mix = ground.mix_of(sowing.tray.tray_id, ground.now_ms)
        return causes(
            self._crop.key,
            hours.soil_temp_c[since],
            progress.slow,
            hours.moisture_m3_m3[since],
            _seed_lot(self._ground, sowing),
            low_c=self._curve.low_c,
            high_c=self._curve.high_c,
            dry_line_m3_m3=mix.dry_line_m3_m3 if mix else None,
            capacity_m3_m3=mix.container_capacity_m3_m3 if mix else None,
            calibrated=self._calibrated(mix.mix_id if mix else None),
            display=ground.display,
        )

    def _calibrated(self, mix_id: int | None) -> bool:
        ground, tray_id = self._ground, self._sowing.tray.tray_id
        stays = ground.facts.heads_in_tray(tray_id, self._sowing.entry.at_ms, ground.now_ms + 1)
        return bool(stays) and all(ground.facts.calibrated_in(stay.subject, mix_id) for stay in stays)

    def _degree_days(self, progress: Progress, ahead: Temperatures | None) -> Opinion | None:
        heat_sum = load_heat_sums().get(self._crop.key) or fitted_heat_sum(self._crop)
        if heat_sum is None or self._curve.basis is Basis.SUM:
            return None
        straight = straight_curve(self._crop, heat_sum)
        by_sum = self._nursery.progress(self._sowing, straight, self._until_ms)
        hours = self._nursery.hours(self._sowing)
        since = hours.hour_s >= self._sowing.entry.at_ms / 1000 - HOUR_S
        warm_h = float((hours.soil_temp_c[since] > self._curve.best_c + 0.5).sum())
        found = second_opinion(heat_sum, by_sum, progress, self._curve, warm_h, self._ground.display)
        half_s = _reached_s(by_sum, straight, ahead)
        return _opinion(self._ground, heat_sum, found, half_s)

    def _told(
        self,
        state: str,
        says: str,
        progress: Progress,
        *,
        found: Expectation | None = None,
        seen: Belief | None = None,
        why: list[Cause] | None = None,
        opinion: Opinion | None = None,
        ahead: Temperatures | None = None,
    ) -> TrayEmergence:
        ground, sowing = self._ground, self._sowing
        known_ms = [look.at_ms for look in sowing.seen if not look.implied]
        days = getattr(ahead, "days", 0)
        return TrayEmergence(
            sowing.tray.name,
            self._where,
            state,
            says,
            self._crop.name,
            sowing.lot.name if sowing.lot else None,
            ground.at(sowing.entry.at_ms),
            round((ground.now_ms - sowing.entry.at_ms) / DAY_MS, 2),
            sowing.seeds.count,
            sowing.seeds_known,
            Done(*(round(x, 3) for x in found.done)) if found else None,
            self._between(found.first) if found and not sowing.up else None,
            self._between(found.half) if found and state != UP else None,
            ground.at(sowing.up.at_ms) if sowing.up else None,
            sowing.most_up or None,
            ground.at(max(known_ms)) if known_ms else None,
            Done(*(round(x, 3) for x in seen.quantiles())) if seen else None,
            str(self._curve.basis),
            self._curve.in_words(ground.display),
            round(progress.coverage, 3),
            None if progress.mean_c is None else round(progress.mean_c, 2),
            round(progress.filled_h, 1),
            round(progress.unsure_share, 3),
            round(progress.slow.cold_h, 1),
            progress.slow.cold_days,
            round(progress.slow.hot_h, 1),
            progress.slow.hot_days,
            tuple(Why(cause.name, str(cause.verdict), cause.says) for cause in why or ()),
            opinion,
            f"days to come drawn from its last {days} whole days" if days else "",
        )

    def _between(self, window: Window) -> Between:
        low, mid, high = (
            None if at_s is None else self._ground.at(at_s * 1000)
            for at_s in (window.low_s, window.mid_s, window.high_s)
        )
        return Between(low, mid, high)


def _seed_lot(ground: Ground, sowing: Sowing) -> SeedLot | None:
    if sowing.lot is None:
        return None
    published = load_seed().get(sowing.lot.crop)
    return SeedLot(
        sowing.lot.name,
        sowing.lot.germination,
        published.standard_pct / 100 if published and published.standard_pct else None,
        published.standard_source if published else "",
        age_years(ground, sowing.lot, sowing.entry.at_ms),
        published.life_years if published else None,
        published.life_source if published else "",
    )


def _reached_s(by_sum: Progress, curve: RateCurve, ahead: Temperatures | None) -> float | None:
    """When a heat sum is reached: in the record, or in the middle of the ensemble."""
    if by_sum.now >= 1.0:
        return float(np.interp(1.0, by_sum.progress, by_sum.end_s))
    if ahead is None:
        return None
    steps = np.cumsum(curve.rate_per_d(ahead.members_c) / 24.0, axis=1)
    middle = by_sum.now + np.median(steps, axis=0)
    after = int(np.searchsorted(middle, 1.0))
    return None if after == middle.size else float(ahead.time_s[after]) + HOUR_S


def _opinion(ground: Ground, heat_sum: HeatSum, found: SecondOpinion, half_s: float | None) -> Opinion:
    return Opinion(
        round(heat_sum.base_c, 2),
        round(heat_sum.sum_c_days, 1),
        round(found.gathered_c_days, 1),
        round(found.done, 3),
        None if half_s is None else ground.at(half_s * 1000),
        heat_sum.source,
        found.disagreement,
    )
