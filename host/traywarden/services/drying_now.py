"""The one outlook on drying, each present dry-down beside earlier ones; `today` and `outlook` ask here."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace

from traywarden.domain.backtest import learnt_from
from traywarden.domain.dry_outlook import AirAhead, DryOutlook, dry_outlook
from traywarden.domain.foresight import LEAST_REMEMBERED, Remembered, foresight, remember
from traywarden.domain.garden import Place
from traywarden.domain.outlook_cases import rolling_cases
from traywarden.domain.series import HeadSeries
from traywarden.domain.spread import Learning, Spread
from traywarden.services.dryings import HeadDryings, head_dryings
from traywarden.services.place_demand import PlaceDemand, TrayDemand
from traywarden.services.questions.ground import Ground
from traywarden.services.questions.waterings import TrayWettings

AirForecast = Callable[[Ground, Place], AirAhead | None]
"""What a forecast says of the air of a place in the coming hours; None where it says nothing."""


def no_forecast(ground: Ground, place: Place) -> AirAhead | None:
    """The coming days are taken to run like the last ones."""
    del ground, place
    return None


@dataclass(frozen=True, slots=True, eq=False)
class HeadOutlook:
    """The outlook of one head, and the dry-down it rests on."""

    head: HeadDryings
    outlook: DryOutlook


class DryingNow:
    """The dry-downs of every tray over the same span of readings; each is worked out once, when asked for."""

    def __init__(
        self,
        ground: Ground,
        water: Mapping[int, TrayWettings],
        start_ms: int,
        forecast: AirForecast = no_forecast,
    ) -> None:
        self._ground, self._water, self._forecast = ground, water, forecast
        self._demand = PlaceDemand(ground, start_ms, ground.now_ms)
        self._mixes = {t: ground.facts.mix_of_tray(t, ground.now_ms) for t in water}
        self._heads: dict[int, list[HeadDryings]] = {}
        self._remembered: dict[int, list[list[Remembered]]] = {}
        self._of_mix: dict[int, tuple[list[Remembered], dict[int, tuple[int, int]]]] = {}
        self._told_of: dict[int, AirAhead | None] = {}
        self._learning: Learning | None = None

    def heads(self, tray_id: int) -> list[HeadDryings]:
        if tray_id not in self._heads:
            now_s = self._ground.now_ms / 1000
            blind_after_s = self._ground.settings["notices.blind_after_s"]
            water, demand = self._water[tray_id], self.demand(tray_id)
            self._heads[tray_id] = [
                head_dryings(head, wettings, demand, now_s, blind_after_s)
                for head, wettings in zip(water.series, water.by_head, strict=True)
            ]
        return self._heads[tray_id]

    def demand(self, tray_id: int) -> TrayDemand:
        return self._demand.of_tray(tray_id, self._water[tray_id].series)

    def series(self, tray_id: int) -> tuple[HeadSeries, ...]:
        return self._water[tray_id].series

    def forecast_source(self, tray_id: int) -> str:
        """Whose forecast tells of the air where the tray stands; empty where none does."""
        told = self._told(tray_id)
        return "" if told is None else told.source

    def outlooks(self, tray_id: int, *, with_interval: bool) -> list[HeadOutlook]:
        """The outlook of every head in a tray now, in the order of the heads; the tray must have a mix."""
        mix = self._ground.mix_of(tray_id, self._ground.now_ms)
        assert mix is not None
        return [
            HeadOutlook(head, self._outlook(tray_id, n, mix.dry_line_m3_m3, with_interval))
            for n, head in enumerate(self.heads(tray_id))
        ]

    def _outlook(self, tray_id: int, number: int, line_m3_m3: float, with_interval: bool) -> DryOutlook:
        head, now_s = self.heads(tray_id)[number], self._ground.now_ms / 1000
        if head.present is None:
            return DryOutlook(reason=head.reason)
        past = self._past(tray_id)[number]
        mates = self._mates(tray_id) if len(past) < LEAST_REMEMBERED else []
        found = foresight(head.present, past, mates, now_s)
        after_s = float(head.present.hour_s[-1]) + 3600.0
        forecast = self._demand.forecast(self.demand(tray_id), self._told(tray_id), after_s)
        spread = self._spread(tray_id, number) if with_interval else None
        outlook = dry_outlook(found, line_m3_m3, now_s, spread, forecast)
        if head.newest_m3_m3 is not None and head.newest_m3_m3 < line_m3_m3:
            there = 0.0 if with_interval else None
            return replace(outlook, in_h=0.0, low_h=there, high_h=there, reason="", path=())
        return outlook

    def _told(self, tray_id: int) -> AirAhead | None:
        """The forecast for the place where a tray stands, asked for once."""
        place = self._ground.place_of(tray_id, self._ground.now_ms)
        if place is None:
            return None
        if place.place_id not in self._told_of:
            self._told_of[place.place_id] = self._forecast(self._ground, place)
        return self._told_of[place.place_id]

    def _past(self, tray_id: int) -> list[list[Remembered]]:
        if tray_id not in self._remembered:
            self._remembered[tray_id] = [[remember(d) for d in head.past] for head in self.heads(tray_id)]
        return self._remembered[tray_id]

    def _mates(self, tray_id: int) -> list[Remembered]:
        """Earlier dry-downs of other trays that hold the same mix now."""
        mix_id = self._mixes.get(tray_id)
        if mix_id is None:
            return []
        if mix_id not in self._of_mix:
            rows: list[Remembered] = []
            spans: dict[int, tuple[int, int]] = {}
            for other in (t for t, held in self._mixes.items() if held == mix_id):
                first = len(rows)
                rows += [r for mine in self._past(other) for r in mine]
                spans[other] = first, len(rows)
            self._of_mix[mix_id] = rows, spans
        rows, spans = self._of_mix[mix_id]
        first, last = spans[tray_id]
        return rows[:first] + rows[last:]

    def _spread(self, tray_id: int, number: int) -> Spread:
        """How far off outlooks in this garden were, learnt from every dry-down that is over."""
        if self._learning is None:
            self._learning = self._learnt()
        return self._learning.at(self._ground.now_ms / 1000, _key(tray_id, number))

    def _learnt(self) -> Learning:
        ended = []
        for tray_id in self._water:
            mates = self._mates(tray_id)
            for number, (head, past) in enumerate(zip(self.heads(tray_id), self._past(tray_id), strict=True)):
                ended += [
                    (past[k].end_s, _key(tray_id, number), learnt_from(rolling_cases(d, past[:k], mates)))
                    for k, d in enumerate(head.past)
                ]
        learning = Learning()
        for end_s, key, spread in sorted(ended, key=lambda row: row[:2]):
            learning.add(end_s, key, spread)
        return learning


def _key(tray_id: int, number: int) -> int:
    return tray_id * 100 + number


def first_to_dry(found: list[HeadOutlook]) -> HeadOutlook | None:
    """The head that is at the dry line first; of those without an outlook the first; None without a head."""
    told = [each for each in found if each.outlook.in_h is not None]
    if told:
        return min(told, key=lambda each: each.outlook.in_h or 0.0)
    return found[0] if found else None
