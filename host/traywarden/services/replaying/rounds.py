"""Rounds of the rules by the clock in the past, one after another: what stays between them is kept."""

from collections.abc import Collection, Mapping
from dataclasses import replace
from functools import cached_property

from traywarden.domain.foresight import Remembered, remember
from traywarden.domain.journal import Facts
from traywarden.domain.rules import Answer, Verdict
from traywarden.services.asking.round import Round, Standing, Vitals
from traywarden.services.drying_now import AirForecast, DryingNow
from traywarden.services.head_days import head_days
from traywarden.services.knowledge import Knowledge
from traywarden.services.probe_cards import HeadCard, ProbeCard, probe_cards
from traywarden.services.questions.ground import DAY_MS, Ground
from traywarden.services.questions.waterings import TrayWettings, tray_waterings
from traywarden.services.series import year_start_ms
from traywarden.services.sky import air_forecast
from traywarden.services.wettings import LEAD_MS, LOOK_BACK_MS
from traywarden.store.engine import snapshot
from traywarden.store.episodes import Key

HOUR_MS = 3_600_000
CARDS_MS, CARDS_LONG_MS = 6 * HOUR_MS, 12 * HOUR_MS
"""How long what a probe says of itself counts as unchanged, but for its readings; over a long span."""
FAR_MS = DAY_MS
"""A tray that is foreseen dry so long after the next visit, or later, is not asked of again at once."""
FARTHEST_MS = 12 * HOUR_MS
UNFORESEEN_MS, UNFORESEEN_LONG_MS = 2 * HOUR_MS, 6 * HOUR_MS
"""Nor is one of which nothing can be foretold (it has just been watered, or is not measured); over a long
span."""
MOST_REMEMBERED = 20_000


class Past:
    """Makes the rounds of a replay. `since_ms`: what has held until the round, and since when. `long`: over
    so long a span that what cannot have changed is not asked again."""

    def __init__(
        self, ground: Ground, knowledge: Knowledge, since_ms: Mapping[Key, int], *, long: bool
    ) -> None:
        self._ground, self._knowledge, self._since_ms, self._long = ground, knowledge, since_ms, long
        self._days = head_days(ground.tx, year_start_ms(ground.settings["wire.earliest_year"]))
        self._remembered: dict[int, Remembered] = {}
        self._cards: list[ProbeCard] = []
        self._cards_until_ms, self._known, self._facts = 0, -1, ground.facts
        self._again_ms: dict[int, int] = {}

    def round(self, at_ms: int) -> "RoundThen":
        """Everything as it was known then; the journal as it holds today, up to then."""
        entries = self._ground.facts.entries
        known = sum(e.at_ms <= at_ms for e in entries)
        if known != self._known:
            self._known, self._facts = known, Facts(e for e in entries if e.at_ms <= at_ms)
            self._cards_until_ms = 0
            self._again_ms.clear()
        self._forget()
        on = replace(self._ground, now_ms=at_ms, facts=self._facts)
        return RoundThen(on, self._knowledge, self._since_ms, self)

    def cards(self, at_ms: int) -> list[ProbeCard]:
        """The probes as they were, with the newest reading of each head."""
        if at_ms >= self._cards_until_ms:
            self._cards = probe_cards(self._ground.tx, at_ms, as_of_then=True)
            self._cards_until_ms = at_ms + (CARDS_LONG_MS if self._long else CARDS_MS)
            return self._cards
        return [replace(card, heads=tuple(self._head(h, at_ms) for h in card.heads)) for card in self._cards]

    def _head(self, head: HeadCard, at_ms: int) -> HeadCard:
        times = self._days.columns(head.head_id, at_ms - CARDS_LONG_MS, at_ms + 1).time_ms
        return replace(head, last_reading_ms=int(times[-1])) if times.size else head

    def remembered(self, drying: DryingNow, tray_id: int) -> list[list[Remembered]]:
        """What past dry-downs tell, each worked out once."""
        if len(self._remembered) > MOST_REMEMBERED:
            self._remembered.clear()
        found = []
        for head in drying.heads(tray_id):
            mine = []
            for past in head.past:
                key = hash(
                    (
                        past.hour_s.tobytes(),
                        past.moisture_m3_m3.tobytes(),
                        past.soil_temp_c.tobytes(),
                        past.demand.tobytes(),
                    )
                )
                if key not in self._remembered:
                    self._remembered[key] = remember(past)
                mine.append(self._remembered[key])
            found.append(mine)
        return found

    def near(self, standing: Collection[Standing], at_ms: int) -> tuple[Standing, ...]:
        """The trays that may be foreseen dry before the next visit, by what was last foreseen of them."""
        return tuple(t for t in standing if at_ms >= self._again_ms.get(t.tray.tray_id, at_ms))

    def foreseen(self, tray_id: int, verdict: Verdict, at_ms: int) -> None:
        """What has just been said of a tray's drying: one that has days left is asked of again later."""
        dry_in_s, visit_in_s = (verdict.facts.get(name) for name in ("dry_in_s", "visit_in_s"))
        if verdict.answer is Answer.BLIND:
            self._again_ms[tray_id] = at_ms + (UNFORESEEN_LONG_MS if self._long else UNFORESEEN_MS)
        elif verdict.answer is Answer.NO and isinstance(dry_in_s, (int, float)):
            spare_ms = round(1000 * (dry_in_s - float(visit_in_s or 0.0)))
            if spare_ms >= FAR_MS:
                self._again_ms[tray_id] = at_ms + min(spare_ms // 2, FARTHEST_MS)

    def _forget(self) -> None:
        """Waterings are kept for each span asked about; those of rounds that are over will not be again."""
        shared = snapshot(self._ground.tx)
        if shared is not None:
            for key in [key for key in shared if isinstance(key, tuple) and key[0] is tray_waterings]:
                del shared[key]


class RoundThen(Round):
    """One round in the past."""

    def __init__(self, ground: Ground, knowledge: Knowledge, since_ms: Mapping[Key, int], past: Past) -> None:
        super().__init__(ground, lambda: knowledge, Vitals(), as_of_then=True, open_since_ms=since_ms)
        self._past = past

    @cached_property
    def probes(self) -> list[ProbeCard]:
        return self._past.cards(self.now_ms)

    @cached_property
    def drying(self) -> DryingNow:
        start_ms = self.now_ms - LOOK_BACK_MS
        water = tray_waterings(self.ground, start_ms, self.now_ms + 1)
        forecast = air_forecast(self.ground)
        return _DryingThen(self.ground, water, start_ms - LEAD_MS, forecast, self._past)

    def of(self, trays: tuple[Standing, ...]) -> "RoundThen":
        """The same round, asked of these trays alone."""
        found = RoundThen(self.ground, self.knowledge, self._open_since_ms, self._past)
        found.trays = trays
        return found


class _DryingThen(DryingNow):
    def __init__(
        self,
        ground: Ground,
        water: Mapping[int, TrayWettings],
        start_ms: int,
        forecast: AirForecast,
        past: Past,
    ) -> None:
        super().__init__(ground, water, start_ms, forecast)
        self._of_past = past

    def _past(self, tray_id: int) -> list[list[Remembered]]:
        if tray_id not in self._remembered:
            self._remembered[tray_id] = self._of_past.remembered(self, tray_id)
        return self._remembered[tray_id]
