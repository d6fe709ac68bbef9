"""The demo's gardener: comes by morning and evening, waters from below, and now and then forgets."""

import math
from dataclasses import dataclass

from traywarden.demo.plan import LOTS, MIXES, TRAYS, PlannedTray
from traywarden.demo.probes import Tick
from traywarden.demo.trays import Mould
from traywarden.demo.weather import STEP_S
from traywarden.domain.journal import Kind

_VISITS_H = (7.5, 18.0)
_FORGETS = "Lettuce 1"
_FORGETS_UNTIL_H = 44.0
_AWAY_LAST_H = 30.0
_WRITES_DOWN = 2 / 3
"""Part of the waterings that get into the journal; the sensors see the rest."""
_SPREAD = 0.10
"""How unlike the seeds of a lot are: standard deviation of the logarithm of the warmth each needs."""
_COMES_UP = {"Open bench": 0.86, "Cold frame": 0.97, "Dappled shade": 0.90}
"""Part of the seed that could come up that does, by place; invented."""


@dataclass(frozen=True, slots=True)
class Deed:
    """Something done in a tray. `told` is false where the gardener did not write it down."""

    kind: Kind
    tray: PlannedTray
    litres: float | None = None
    count: int | None = None
    told: bool = True


class Gardener:
    """Looks at the trays themselves, not at the readings."""

    def __init__(self, moulds: dict[str, Mould], steps: int) -> None:
        self._moulds = moulds
        self._last = steps - 1
        self._warmth_c_d = dict.fromkeys(moulds, 0.0)
        self._counted = dict.fromkeys(moulds, 0)
        self._waterings = 0.0
        self._lines_m3_m3 = {mix.name: mix.dry_line_m3_m3 for mix in MIXES}
        self._lots = {lot.name: lot for lot in LOTS}

    def come_by(self, tick: Tick, hour_h: float) -> list[Deed]:
        """What is done at this instant: nothing save at the hours of a visit."""
        for tray in TRAYS:
            above_c = max(0.0, self._moulds[tray.name].temp_c - self._lots[tray.lot].base_c)
            self._warmth_c_d[tray.name] += above_c * STEP_S / 86_400
        left_h = (self._last - tick.number) * STEP_S / 3600
        visit = any(abs(hour_h - visit_h) < STEP_S / 7200 for visit_h in _VISITS_H)
        if not visit or left_h < _AWAY_LAST_H or tick.number == 0:
            return []
        deeds = [self._watered(tray) for tray in TRAYS if self._needs_water(tray, tick)]
        if hour_h > sum(_VISITS_H) / 2:  # seedlings are counted in the morning
            return deeds
        return deeds + [self._emerged(tray) for tray in TRAYS if self._up(tray) > self._counted[tray.name]]

    def _needs_water(self, tray: PlannedTray, tick: Tick) -> bool:
        forgotten = tray.name == _FORGETS and tick.since_start_h < _FORGETS_UNTIL_H
        return not forgotten and self._moulds[tray.name].water_m3_m3 < self._lines_m3_m3[tray.mix]

    def _watered(self, tray: PlannedTray) -> Deed:
        mould = self._moulds[tray.name]
        taken_m3_m3 = mould.substrate.capacity_m3_m3 - mould.water_m3_m3
        mould.water_from_below()
        before = int(self._waterings)
        self._waterings += _WRITES_DOWN
        return Deed(
            Kind.WATERED, tray, litres=round(tray.litres * taken_m3_m3, 1), told=int(self._waterings) > before
        )

    def _up(self, tray: PlannedTray) -> int:
        """Seedlings that show in the tray now, of one seed in each cell."""
        lot = self._lots[tray.lot]
        warmth = self._warmth_c_d[tray.name] / lot.warmth_c_d
        if warmth <= 0:
            return 0
        part = (1 + math.erf(math.log(warmth) / _SPREAD / math.sqrt(2))) / 2
        return round(tray.cells * lot.germination * _COMES_UP[tray.place] * part)

    def _emerged(self, tray: PlannedTray) -> Deed:
        self._counted[tray.name] = self._up(tray)
        return Deed(Kind.EMERGED, tray, count=self._counted[tray.name])
