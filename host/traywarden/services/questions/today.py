"""What needs the grower now and today: the watch's own rules, asked of every tray at this instant."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime

from traywarden.domain.advice import what_helps_cold
from traywarden.domain.episodes import Delays, Episode, RuleState, fold
from traywarden.domain.garden import PlaceKind, Tray
from traywarden.domain.hushes import Hush, hushed_by
from traywarden.domain.moisture import fraction
from traywarden.domain.rules import Answer, Facts, Rule, Verdict
from traywarden.domain.sayings import SAYINGS_BY_RULE
from traywarden.domain.subjects import SubjectKind, a_tray
from traywarden.domain.units import span_words
from traywarden.services.channel_health import channel_troubles
from traywarden.services.drying_now import DryingNow, first_to_dry
from traywarden.services.hushing import subjects_at
from traywarden.services.instants import Instants
from traywarden.services.judging import CLOCK_AHEAD_MS, Judge, gone_blind
from traywarden.services.knowledge import Knowledge
from traywarden.services.questions.emergence_answer import LATE
from traywarden.services.questions.emergence_now import EmergenceNow, emergence_now
from traywarden.services.questions.found import Found, Hushed, found_now, hushed
from traywarden.services.questions.ground import DAY_MS, Ground
from traywarden.services.questions.soon import ANY_TIME, SOON_S, Soon, when_words
from traywarden.services.questions.waterings import TrayWettings, tray_waterings
from traywarden.services.sky import air_forecast
from traywarden.services.wettings import LEAD_MS, event_ms, known_from
from traywarden.services.wettings import LOOK_BACK_MS as LOOK_BACK_WATERING_MS
from traywarden.store import episodes as episode_store
from traywarden.store import hushes as hush_store
from traywarden.store.crops import load_crops

LOOK_BACK_MS = 3 * DAY_MS
"""What has stood longer is dated by the episode the host keeps, or else said to be “at least” so old."""
WELL_AFTER_MS = 3 * 3_600_000
"""After so long an episode that is only kept open so as not to be told each night is no need (no source)."""
SEVERITY_ORDER = ("urgent", "warning", "info")

WATERED_SINCE = "It was watered after its last reading; the next one will show whether that was enough."

WHAT = {"dry": "Water now", "cold": "Too cold to come up"} | {
    rule: saying.title for rule, saying in SAYINGS_BY_RULE.items()
}
WAS = {
    "dry": "it was below its dry line when it was last measured",
    "cold": "it was too cold when it was last measured",
}


@dataclass(frozen=True, slots=True)
class Need:
    """One thing that needs a person. `easing`: the state has turned, but not long enough to be sure of it."""

    tray: str
    place: str | None
    rule: str
    severity: str
    what: str
    why: str
    source: str
    since: datetime
    since_at_least: bool
    for_s: float
    do: str
    easing: bool
    blind: str
    facts: Facts
    hushed: Hushed | None

    @property
    def on_and_off(self) -> bool:
        """Whether it came and went meanwhile: warm hours within a day do not end that seed is too cold."""
        return self.rule in ("cold", "hot") and self.for_s * 1000 > DAY_MS


@dataclass(frozen=True, slots=True)
class Blind:
    """A question about a tray that cannot be answered, and why."""

    tray: str
    place: str | None
    rule: str
    why: str


@dataclass(frozen=True, slots=True)
class TrayNow:
    """One tray at a glance. `moisture_fraction`: 0 at the dry line, 1 at container capacity."""

    tray: str
    place: str | None
    mix: str | None
    crop: str | None
    sown: datetime | None
    emerged: datetime | None
    measured: datetime | None
    moisture_m3_m3: float | None
    moisture_pct: float | None
    moisture_fraction: float | None
    dry_line_pct: float | None
    moisture_calibrated: bool
    soil_temp_c: float | None
    crop_min_c: float | None
    crop_opt_low_c: float | None
    crop_opt_high_c: float | None
    crop_max_c: float | None
    last_watered: datetime | None
    since_watered_s: float | None
    watered_known_from: str
    answers: dict[str, str]


@dataclass(frozen=True, slots=True)
class Untold:
    """A channel over which notices do not get through: how many, since when, why, and what to do."""

    channel: str
    notices: int
    since: datetime
    why: str
    do: str


@dataclass(frozen=True, slots=True)
class TodayAnswer:
    """`found`: what the host found of places, probes, trays and itself, by rules it asks at their own pace.
    `seed`: how far the seed has come in every tray where none is up yet. `quiet`: trays of which, and of
    whose places, nothing is to be said. `untold`: channels that fail."""

    garden: str
    at: datetime
    needs: tuple[Need, ...]
    found: tuple[Found, ...]
    soon: tuple[Soon, ...]
    blind: tuple[Blind, ...]
    seed: tuple[EmergenceNow, ...]
    quiet: tuple[str, ...]
    trays: tuple[TrayNow, ...]
    untold: tuple[Untold, ...]


def ask_today(ground: Ground, tray: str = "") -> TodayAnswer:
    """Every rule asked of every tray (or one) now, most urgent first, with what will be needed within a day.

    Beside it the seed that is not up yet; drying is foreseen as `ask_outlook` does, with the same forecast.

    Raises UsageError (no tray yet), UnknownNameError, ShortOfDataError (nothing was ever measured).
    """
    chosen = ground.chosen_trays(tray)
    ground.need_readings()
    judge, knowledge = Judge(ground.settings), Knowledge(ground.tx, load_crops())
    start_ms = ground.now_ms - LOOK_BACK_WATERING_MS
    water = tray_waterings(ground, start_ms, ground.now_ms + 1)
    drying = DryingNow(ground, water, start_ms - LEAD_MS, air_forecast(ground))
    open_before: dict[episode_store.Key, Episode] = {}
    for episode in episode_store.standing(ground.tx, ground.now_ms - LOOK_BACK_MS):
        open_before.setdefault((episode.rule, episode.subject), episode)
    hushes = hush_store.holding(ground.tx, ground.now_ms)
    seen = [
        _Tray(ground, judge, knowledge, each, water[each.tray_id], drying, open_before, hushes)
        for each in chosen
    ]
    needs = sorted((need for one in seen for need in one.needs), key=_urgency)
    soon = sorted((s for one in seen for s in one.soon), key=lambda s: s.by)
    blind = tuple(b for one in seen for b in one.blind)
    found = sorted(found_now(ground, knowledge, hushes, tray), key=_urgency_found)
    seed = emergence_now(ground, tray)
    late = {s.tray for s in seed if s.state == LATE}
    named = {n.tray for n in needs} | {s.tray for s in soon} | {b.tray for b in blind} | late
    named |= {each.name for each in found if each.about == SubjectKind.TRAY}
    there = {each.name for each in found if each.about == SubjectKind.PLACE}
    named |= {one.now.tray for one in seen if one.now.place in there}
    return TodayAnswer(
        ground.garden.name,
        ground.at(ground.now_ms),
        tuple(needs),
        tuple(found),
        tuple(soon),
        blind,
        seed,
        tuple(each.name for each in chosen if each.name not in named),
        tuple(one.now for one in seen),
        tuple(
            Untold(t.channel, t.waiting + t.parked, ground.at(t.since_ms), t.why, t.do)
            for t in channel_troubles(ground.tx, ground.settings, ground.now_ms)
        ),
    )


def _urgency(need: Need) -> tuple[bool, bool, int, float]:
    return (need.hushed is not None, need.easing, SEVERITY_ORDER.index(need.severity), -need.for_s)


def _urgency_found(found: Found) -> tuple[bool, int, float]:
    return (found.hushed is not None, SEVERITY_ORDER.index(found.severity), -found.for_s)


class _Tray:
    """One tray with every rule's state now."""

    def __init__(
        self,
        ground: Ground,
        judge: Judge,
        knowledge: Knowledge,
        tray: Tray,
        water: TrayWettings,
        drying: DryingNow,
        open_before: Mapping[episode_store.Key, Episode],
        hushes: Sequence[Hush],
    ) -> None:
        self._open_before, self._hushes = open_before, hushes
        self._ground, self._judge, self._tray, self._water = ground, judge, tray, water
        place = ground.place_of(tray.tray_id, ground.now_ms)
        self._place = place.name if place else None
        self._kind = place.kind if place else None
        self._begin_ms = ground.now_ms - LOOK_BACK_MS
        instants = knowledge.instants(
            ground.tx,
            tray.tray_id,
            self._begin_ms,
            ground.now_ms + CLOCK_AHEAD_MS,
            blind_after_ms=judge.blind_after_ms,
            earliest_year=ground.settings["wire.earliest_year"],
            only_for=tuple(judge.rules.values()),
        )
        self._last = instants.evidence(-1) if instants.at_ms else None
        self.needs: list[Need] = []
        self.blind: list[Blind] = []
        self.soon: list[Soon] = []
        self._answers: dict[str, str] = {}
        for rule in judge.rules.values():
            self._ask(rule, instants, judge.delays(rule, knowledge, a_tray(tray.tray_id)))
        self.now = self._glance()
        if not any(need.rule == "dry" and not need.easing for need in self.needs):
            self.soon += self._drying(drying)

    def _ask(self, rule: Rule, instants: Instants, delays: Delays) -> None:
        kept = self._open_before.get((rule.name, a_tray(self._tray.tray_id)))
        verdicts = instants.verdicts(rule)
        start = RuleState(judged_to_ms=self._begin_ms, open_since_ms=kept.opened_ms if kept else None)
        state, stretches = fold(start, verdicts, delays)
        state = gone_blind(state, self._ground.now_ms, self._judge.blind_after_ms)
        if state.answer is Answer.BLIND and not self._measured_lately():
            state = replace(state, reason=self._silence())
        self._answers[rule.name] = str(state.answer)
        if state.open_since_ms is not None and not _well_again(state):
            last = next((v for _, v in reversed(verdicts) if v.answer is not Answer.BLIND), None)
            if last is None and kept is not None:
                last = Verdict(Answer.YES, WAS[rule.name], kept.facts) if rule.name in WAS else None
            self.needs.append(self._need(rule, state, last, at_least=stretches[-1].opened_clipped))
        elif state.answer is Answer.BLIND and rule.beside not in self._judge.rules:
            self.blind.append(Blind(self._tray.name, self._place, rule.name, state.reason))

    def _newest_ms(self) -> float | None:
        return max((float(s.time_s[-1]) * 1000 for s in self._water.series if s.time_s.size), default=None)

    def _measured_lately(self) -> bool:
        newest_ms = self._newest_ms()
        return newest_ms is not None and newest_ms > self._begin_ms

    def _silence(self) -> str:
        """Why nothing is known of the tray since the look back began."""
        ground, newest_ms = self._ground, self._newest_ms()
        if not ground.facts.heads_in_tray(self._tray.tray_id, ground.now_ms, ground.now_ms + 1):
            return "no head is in it; place one with “traywarden probe place”"
        if newest_ms is None:
            return "nothing was measured in it yet"
        return f"nothing usable was measured for {span_words((ground.now_ms - newest_ms) / 1000)}"

    def _need(self, rule: Rule, state: RuleState, verdict: Verdict | None, *, at_least: bool) -> Need:
        assert state.open_since_ms is not None
        facts = dict(verdict.facts) if verdict else {}
        blind = state.reason if state.answer is Answer.BLIND else ""
        return Need(
            self._tray.name,
            self._place,
            rule.name,
            rule.severity,
            WHAT.get(rule.name, rule.question),
            verdict.reason if verdict else state.reason,
            str(
                facts.get("floor_source")
                or facts.get("source")
                or ("the dry line of its mix" if rule.name == "dry" else "")
            ),
            self._ground.at(state.open_since_ms),
            at_least,
            (self._ground.now_ms - state.open_since_ms) / 1000,
            WATERED_SINCE if self._watered_since(rule) else _help(rule.name, facts, self._kind),
            state.answer is Answer.NO,
            blind,
            facts,
            self._hushed(rule),
        )

    def _hushed(self, rule: Rule) -> Hushed | None:
        ground, tray_id = self._ground, self._tray.tray_id
        subjects = subjects_at(ground.facts, a_tray(tray_id), ground.now_ms)
        return hushed(ground, hushed_by(self._hushes, rule.name, subjects, ground.now_ms))

    def _watered_since(self, rule: Rule) -> bool:
        """Whether the journal has a watering that no reading has had the time to show."""
        newest_ms, events = self._newest_ms(), self._water.events
        if rule.name != "dry" or newest_ms is None or not events:
            return False
        return known_from(events[-1]) == "journal" and event_ms(events[-1]) > newest_ms

    def _glance(self) -> TrayNow:
        ground, tray_id, last = self._ground, self._tray.tray_id, self._last
        mix = ground.mix_of(tray_id, ground.now_ms)
        sowing = ground.facts.sowing_of_tray(tray_id, ground.now_ms)
        up = ground.facts.emergence_of_sowing(sowing, ground.now_ms) if sowing else None
        crop = ground.crop_of(sowing) if sowing else None
        fresh = last is not None and ground.now_ms - last.at_ms <= self._judge.blind_after_ms
        heads = last.heads if last is not None and fresh else ()
        wet = min((h.moisture_m3_m3 for h in heads if h.moisture_m3_m3 is not None), default=None)
        warm = min((h.soil_temp_c for h in heads if h.soil_temp_c is not None), default=None)
        events = self._water.events
        watered_ms = event_ms(events[-1]) if events else None
        newest_ms = self._newest_ms()
        capacity = mix.container_capacity_m3_m3 if mix else None
        return TrayNow(
            self._tray.name,
            self._place,
            mix.name if mix else None,
            crop.name if crop else (str(sowing.data.get("crop") or "seed") if sowing else None),
            ground.at(sowing.at_ms) if sowing else None,
            ground.at(up.at_ms) if up else None,
            ground.at(newest_ms) if newest_ms is not None else None,
            wet,
            round(wet / capacity * 100, 2) if wet is not None and capacity else None,
            round(float(fraction(wet, mix.dry_line_m3_m3, mix.container_capacity_m3_m3)), 3)
            if wet is not None and mix
            else None,
            round(mix.dry_line_m3_m3 / mix.container_capacity_m3_m3 * 100, 2) if mix else None,
            all(h.moisture_calibrated for h in heads if h.moisture_m3_m3 is not None),
            warm,
            crop.floor_c if crop else None,
            crop.opt_low_c if crop else None,
            crop.opt_high_c if crop else None,
            crop.max_c if crop else None,
            ground.at(watered_ms) if watered_ms is not None else None,
            (ground.now_ms - watered_ms) / 1000 if watered_ms is not None else None,
            known_from(events[-1]) if events else "",
            self._answers,
        )

    def _drying(self, drying: DryingNow) -> list[Soon]:
        """When the tray will need water, if within a day."""
        mix = self._ground.mix_of(self._tray.tray_id, self._ground.now_ms)
        if mix is None or self.now.moisture_m3_m3 is None or (self._last and self._last.planted_out):
            return []
        first = first_to_dry(drying.outlooks(self._tray.tray_id, with_interval=False))
        if first is None or first.outlook.in_h is None or first.outlook.in_h * 3600 > SOON_S:
            return []
        in_s = first.outlook.in_h * 3600
        when = when_words(self._ground.now_ms, in_s, self._ground.zone)
        line = f"its dry line of {self.now.dry_line_pct:.0f} %"
        if when != ANY_TIME:
            then = f", drying as it does, falls to {line} by then"
        elif self.now.moisture_m3_m3 < mix.dry_line_m3_m3:
            then = f" below {line}, though not for long yet"
        else:
            then = f" about to reach {line}"
        why = f"it is at {self.now.moisture_pct:.0f} % of container capacity and{then}"
        by = self._ground.at(self._ground.now_ms + in_s * 1000)
        return [Soon(self._tray.name, self._place, "Water", when, by, in_s, why)]


def _well_again(state: RuleState) -> bool:
    """Whether the answer has been no for so long that nobody is needed, though the episode closes later."""
    if state.answer is not Answer.NO or state.run_since_ms is None:
        return False
    return state.judged_to_ms - state.run_since_ms >= WELL_AFTER_MS


def _help(rule: str, facts: Facts, kind: PlaceKind | None) -> str:
    if rule == "cold":
        return what_helps_cold(kind)
    if rule != "dry":
        return str(facts.get("do") or "")
    pour = facts.get("pour_litres")
    words = "Water it until it drains."
    if isinstance(pour, int | float):
        words = f"Water it: about {pour:.1f} l brings it back to container capacity."
    if facts.get("calibrated") is False:
        words += " Lift it first: its moisture is not calibrated in your mix."
    return words
