"""When will the seed in a tray come up, is it late and why, and what do degree-days say beside it."""

import numpy as np

from traywarden.domain.crops import Crop, HeatSum
from traywarden.domain.development import Basis, RateCurve
from traywarden.domain.emergence import Expectation, Window, horizon_h
from traywarden.domain.ensemble import Ensemble
from traywarden.domain.factors import Belief
from traywarden.domain.garden import Tray
from traywarden.domain.heat_sums import SecondOpinion, fitted_heat_sum, second_opinion, straight_curve
from traywarden.domain.hourly import Hourly
from traywarden.domain.lateness import Cause, Verdict, likeliest
from traywarden.domain.progress import Progress
from traywarden.domain.units import HOUR_S
from traywarden.errors import ShortOfDataError
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
from traywarden.services.questions.nursery import Nursery
from traywarden.services.questions.sowings import Sowing
from traywarden.services.questions.why_late import why_late
from traywarden.services.soil_ahead import SoilAhead
from traywarden.store.crops import load_heat_sums


def ask_emergence(ground: Ground, tray: str = "") -> EmergenceAnswer:
    """How far the seed of one tray, or of every tray, has come, and when it will be up.

    The coming days are like the tray's own of late, driven by an imported forecast while one lasts.

    Raises UsageError (no tray yet), UnknownNameError, ShortOfDataError (nothing was ever measured).
    """
    chosen = ground.chosen_trays(tray)
    ground.need_readings()
    nursery, ahead = Nursery(ground), SoilAhead(ground)
    answers = tuple(_tray(ground, nursery, each, ahead) for each in chosen)
    return EmergenceAnswer(ground.garden.name, ground.at(ground.now_ms), answers)


def _tray(ground: Ground, nursery: Nursery, tray: Tray, ahead: SoilAhead) -> TrayEmergence:
    place = ground.place_of(tray.tray_id, ground.now_ms)
    where = place.name if place else None
    sowing = nursery.current(tray.tray_id)
    if sowing is None:
        return TrayEmergence(tray.name, where, NOTHING_SOWN, "Nothing stands sown in it.")
    if sowing.crop is None:
        name = str(sowing.entry.data.get("crop") or "its crop")
        return TrayEmergence(tray.name, where, UNKNOWN, f"{name} is not in the table of crops.")
    return _Asked(nursery, sowing, sowing.crop, where, ahead).answer()


class _Asked:
    """One sowing of a known crop."""

    def __init__(
        self, nursery: Nursery, sowing: Sowing, crop: Crop, where: str | None, ahead: SoilAhead
    ) -> None:
        self._ground, self._nursery, self._sowing, self._crop = nursery.ground, nursery, sowing, crop
        self._where, self._ahead = where, ahead
        self._curve = nursery.curve(crop.key)
        self._until_ms = nursery.until_ms(sowing)

    def answer(self) -> TrayEmergence:
        sowing = self._sowing
        progress = self._nursery.progress(sowing, self._curve, self._until_ms)
        if progress.blind:
            blind = self._no_head() or progress.blind
            return self._told(UNKNOWN, f"It cannot be told: {blind}.", progress)
        hours = self._nursery.hours(sowing)
        recent = hours.soil_temp_c[-7 * 24 :]
        wanted_h = 0 if self._all_up() else horizon_h(progress, self._curve, recent)
        ahead, why_not = self._coming(hours, wanted_h)
        found, seen = self._nursery.expected(sowing, progress, ahead)
        state = self._state(found)
        why = why_late(self._nursery, sowing, self._crop, self._curve, progress) if state == LATE else []
        return self._told(
            state,
            self._sentence(state, found, why, why_not),
            progress,
            found=found,
            seen=seen,
            why=why,
            opinion=self._degree_days(progress, ahead),
            ahead=ahead,
        )

    def _no_head(self) -> str:
        facts, now_ms = self._ground.facts, self._ground.now_ms
        here = facts.heads_in_tray(self._sowing.tray.tray_id, self._sowing.entry.at_ms, now_ms + 1)
        return "" if here else "no head is in it; place one with “traywarden probe place”"

    def _coming(self, hours: Hourly, wanted_h: int) -> tuple[Ensemble | None, str]:
        if not wanted_h:
            return None, ""
        try:
            return self._ahead.of_tray(self._sowing.tray, hours, wanted_h), ""
        except ShortOfDataError as short:
            return None, str(short)

    def _all_up(self) -> bool:
        most, seeds = self._sowing.most_up, self._sowing.seeds
        return most is not None and most >= 0.5 * seeds.count * seeds.germination

    def _state(self, found: Expectation) -> str:
        if self._sowing.up:
            return UP if self._all_up() or found.done[0] > 1.0 else COMING_UP
        return LATE if found.overdue else ON_ITS_WAY

    def _sentence(self, state: str, found: Expectation, why: list[Cause], why_not: str) -> str:
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
        part = f"{self._crop.name} is {round(found.done[1], 3) * 100:.0f} % of the way"
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
        if why_not:
            return f"{part}; when it will be up cannot be told yet. {why_not}"
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

    def _degree_days(self, progress: Progress, ahead: Ensemble | None) -> Opinion | None:
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
        ahead: Ensemble | None = None,
    ) -> TrayEmergence:
        ground, sowing = self._ground, self._sowing
        known_ms = [look.at_ms for look in sowing.seen if not look.implied]
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
            _outlook(ahead),
        )

    def _between(self, window: Window) -> Between:
        low, mid, high = (
            None if at_s is None else self._ground.at(at_s * 1000)
            for at_s in (window.low_s, window.mid_s, window.high_s)
        )
        return Between(low, mid, high)


def _outlook(ahead: Ensemble | None) -> str:
    """What the coming days rest on, in words."""
    if ahead is None:
        return ""
    own = f"days like its last {ahead.days}"
    driven = ahead.basis.startswith("forecast")
    words = f"the imported forecast while it lasts, then {own}" if driven else f"{own}; no forecast"
    return "; ".join(filter(None, (words, ahead.remark)))


def _reached_s(by_sum: Progress, curve: RateCurve, ahead: Ensemble | None) -> float | None:
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
