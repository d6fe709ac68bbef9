"""Every stretch between two wettings in the garden, with its mix, its place and what the air asked for."""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import TypeAlias

import numpy as np

from traywarden.domain.demand import reference_demand_mm
from traywarden.domain.garden import Mix, Tray
from traywarden.domain.hourly import Hourly, hourly_together
from traywarden.domain.journal import Kind
from traywarden.domain.kept import kept_wettings
from traywarden.domain.mix_advice import MixDrying
from traywarden.domain.mix_drying import DryingParams, daily_losses, dried_stretches
from traywarden.domain.series import FloatArray
from traywarden.domain.wetting import Wetting
from traywarden.services.epochs import cut, unbroken
from traywarden.services.kept import kept_of
from traywarden.services.position import position_of
from traywarden.services.questions.ground import Ground
from traywarden.store import probes as probe_store

NOWHERE = "no place written down"

Demand: TypeAlias = Callable[[Hourly], FloatArray]
"""What the air of a place asks for, hour by hour, from the hours of its air."""


def reference_demand(ground: Ground) -> Demand:
    """FAO-56’s hourly reference evapotranspiration [mm] from air, humidity and the sun over the garden."""
    position = position_of(ground)

    def asked(air: Hourly) -> FloatArray:
        return reference_demand_mm(
            air.hour_s,
            air.air_temp_c,
            air.vpd_kpa,
            latitude_deg=position.latitude_deg,
            longitude_deg=position.longitude_deg,
        )

    return asked


@dataclass(frozen=True, slots=True)
class DayLoss:
    """What a tray lost on one whole day [% of container capacity]."""

    mix: str
    tray: str
    place: str
    day: int
    loss_pct: float


@dataclass(frozen=True, slots=True)
class GardenDrying:
    stretches: tuple[MixDrying, ...]
    days: tuple[DayLoss, ...]
    uncalibrated: frozenset[str]
    """Trays whose moisture rests on the default line."""


def garden_drying(
    ground: Ground,
    start_ms: int,
    end_ms: int,
    params: DryingParams,
    demand: Demand,
) -> GardenDrying:
    """All trays in [start_ms, end_ms). `demand` may be any measure of what the air asks for."""
    ids = {head.label: head.head_id for head in probe_store.heads(ground.tx)}
    airs = _Airs(ground, start_ms, end_ms, demand)
    stretches: list[MixDrying] = []
    days: list[DayLoss] = []
    uncalibrated: set[str] = set()
    for tray in ground.trays.values():
        spans = [s for s in ground.facts.tray_mixes if s.subject == tray.tray_id and s.where in ground.mixes]
        if not spans:
            continue
        for hours in ground.tray_hourly(tray.tray_id, start_ms, end_ms):
            head_id = ids[hours.label]
            for mix, piece, seen in mixed_hours(ground, tray, hours, head_id, (start_ms, end_ms)):
                found, lost = _piece(tray, mix, piece, seen, airs, params, ground)
                stretches += found
                days += lost
            if not ground.facts.calibrated_in(head_id, spans[-1].where):
                uncalibrated.add(tray.name)
    return GardenDrying(tuple(stretches), tuple(days), frozenset(uncalibrated))


def mixed_hours(
    ground: Ground, tray: Tray, hours: Hourly, head_id: int, span_ms: tuple[int, int]
) -> Iterator[tuple[Mix, Hourly, list[Wetting]]]:
    """The hours of a head by mix, moisture comparable throughout each piece, with the wettings in them."""
    kept = kept_of(ground.tx, head_id)
    for part in unbroken(ground.facts, hours, head_id, tray.tray_id, *span_ms):
        for mix, piece in _in_mixes(ground, tray, part):
            seen = kept_wettings(piece.hour_s, piece.moisture_m3_m3, piece.soil_temp_c, kept)
            yield mix, piece, [one.wetting for one in seen]


def _in_mixes(ground: Ground, tray: Tray, hours: Hourly) -> Iterator[tuple[Mix, Hourly]]:
    """The hours by mix and by the container capacity that held."""
    facts = ground.facts
    turns = {e.at_ms for e in facts.of_tray(tray.tray_id, Kind.FILLED)}
    turns |= {
        at for s in facts.tray_mixes if s.subject == tray.tray_id for at in facts.capacity_turns_ms(s.where)
    }
    first_ms, last_ms = hours.hour_s[0] * 1000, hours.hour_s[-1] * 1000
    edges = [first_ms, *sorted(at for at in turns if first_ms < at <= last_ms), np.inf]
    pieces: list[tuple[Mix | None, np.ndarray]] = []
    for start, end in pairwise(edges):
        inside = (hours.hour_s * 1000 >= start) & (hours.hour_s * 1000 < end)
        if not inside.any():
            continue
        mix = ground.mix_of(tray.tray_id, int(hours.hour_s[inside][0] * 1000))
        if pieces and pieces[-1][0] == mix:  # another tray's turn, which changes nothing here
            pieces[-1] = (mix, pieces[-1][1] | inside)
        else:
            pieces.append((mix, inside))
    return ((mix, cut(hours, inside)) for mix, inside in pieces if mix is not None)


def _piece(
    tray: Tray,
    mix: Mix,
    hours: Hourly,
    wettings: Sequence[Wetting],
    airs: "_Airs",
    params: DryingParams,
    ground: Ground,
) -> tuple[list[MixDrying], list[DayLoss]]:
    asked, air_c = airs.along(tray, hours.hour_s)
    found = dried_stretches(
        hours.hour_s,
        hours.moisture_m3_m3,
        wettings,
        container_capacity_m3_m3=mix.container_capacity_m3_m3,
        dry_line_m3_m3=mix.dry_line_m3_m3,
        demand_mm=asked,
        air_temp_c=air_c,
        params=params,
    )
    lost = daily_losses(hours.hour_s, hours.moisture_m3_m3, found, mix.container_capacity_m3_m3)
    return (
        [MixDrying(mix.name, tray.name, _place(ground, tray, (s.start_s + s.end_s) / 2), s) for s in found],
        [
            DayLoss(mix.name, tray.name, _place(ground, tray, (day + 0.5) * 86_400), day, loss)
            for day, loss in lost
        ],
    )


def _place(ground: Ground, tray: Tray, at_s: float) -> str:
    place = ground.place_of(tray.tray_id, round(at_s * 1000))
    return place.name if place else NOWHERE


class _Airs:
    """Demand and temperature of the places' air, read once each."""

    def __init__(self, ground: Ground, start_ms: int, end_ms: int, demand: Demand) -> None:
        self._ground, self._span, self._demand = ground, (start_ms, end_ms), demand
        self._known: dict[int, tuple[FloatArray, FloatArray, FloatArray]] = {}

    def along(self, tray: Tray, hour_s: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Demand and air temperature [°C] where the tray stood, for each of the hours; NaN where unknown."""
        asked, air_c = np.full(hour_s.size, np.nan), np.full(hour_s.size, np.nan)
        for stay in self._ground.facts.tray_places:
            inside = stay.overlap(*self._span) if stay.subject == tray.tray_id else None
            if inside is None:
                continue
            there = (hour_s * 1000 >= inside[0]) & (hour_s * 1000 < inside[1])
            known_s, demand, temp_c = self._of(stay.where)
            if not known_s.size:
                continue
            at = np.round((hour_s[there] - known_s[0]) / 3600).astype(np.int64)
            within = (at >= 0) & (at < known_s.size)
            chosen = np.flatnonzero(there)[within]
            asked[chosen], air_c[chosen] = demand[at[within]], temp_c[at[within]]
        return asked, air_c

    def _of(self, place_id: int) -> tuple[FloatArray, FloatArray, FloatArray]:
        if place_id not in self._known:
            air = hourly_together(self._ground.place_hourly(place_id, "air", *self._span))
            self._known[place_id] = (air.hour_s, self._demand(air), air.air_temp_c)
        return self._known[place_id]
