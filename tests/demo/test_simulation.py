"""The demo's weather, trays, probes and gardener behave as a garden does, at whatever hour a play begins."""

from collections import Counter
from dataclasses import dataclass, field
from itertools import pairwise
from zoneinfo import ZoneInfo

import numpy as np
import pytest

from traywarden.demo import plan
from traywarden.demo.gardener import Deed, Gardener
from traywarden.demo.play import SEED
from traywarden.demo.simulation import Simulation
from traywarden.demo.sites import SITES, place_air
from traywarden.demo.trays import Spot, Substrate, Trays
from traywarden.demo.weather import STEP_S, weather
from traywarden.domain.journal import Kind
from traywarden.domain.readings import QUANTITIES, Reading

END_S = 1_760_000_400
LISBON = ZoneInfo(plan.TIME_ZONE)
DRY_LINES = {
    tray.name: mix.dry_line_m3_m3 for tray in plan.TRAYS for mix in plan.MIXES if mix.name == tray.mix
}
HOURS_OF_DAY = range(0, 24, 3)


@dataclass
class Run:
    """A whole play, without a host."""

    readings: list[Reading] = field(default_factory=list)
    deeds: list[tuple[float, Deed]] = field(default_factory=list)
    dry_h: dict[str, list[float]] = field(default_factory=dict)
    soil_c: dict[str, list[float]] = field(default_factory=dict)


def played(days: float, end_s: int = END_S) -> Run:
    simulation, run = Simulation(end_s, days, SEED), Run()
    gardener = Gardener(simulation.moulds, simulation.steps)
    while not simulation.ended:
        tick, measured = simulation.step()
        run.readings += [reading for one in measured for reading in one.readings]
        run.deeds += [(tick.since_start_h, deed) for deed in gardener.come_by(tick, simulation.hour_h)]
        for name, mould in simulation.moulds.items():
            run.soil_c.setdefault(name, []).append(mould.temp_c)
            if mould.water_m3_m3 < DRY_LINES[name]:
                run.dry_h.setdefault(name, []).append(tick.since_start_h)
    return run


@pytest.mark.parametrize("hour", HOURS_OF_DAY)
@pytest.mark.parametrize("days", [4, 14])
def test_a_play_shows_a_dry_tray_and_a_cold_one_early_and_leaves_something_to_do(
    days: int, hour: int
) -> None:
    run = played(days, END_S + hour * 3600)
    first_dry_h = min(hours[0] for hours in run.dry_h.values())
    assert first_dry_h < 24
    assert len([h for h in run.dry_h["Lettuce 1"] if h < 48]) * STEP_S > 6 * 3600  # the forgotten one
    early = run.soil_c["Pepper 1"][: 2 * 86_400 // STEP_S]
    assert sum(c < 15.0 for c in early) * STEP_S > 4 * 3600  # pepper's published minimum is 15.6 °C
    assert any(hours[-1] == days * 24 for hours in run.dry_h.values())


def test_fourteen_days_hold_the_faults_and_the_deeds_they_are_meant_to() -> None:
    run = played(14)
    assert [r.head for r in run.readings if r.soil_temp_c == 85.0] == [1]
    assert {r.boot for r in run.readings if r.probe == plan.BENCH_PROBE} == {1, 2}
    assert sum(r.rain_mm or 0.0 for r in run.readings) > 8
    kinds = Counter(deed.kind for _, deed in run.deeds)
    assert kinds[Kind.WATERED] >= 20
    untold = sum(not deed.told for _, deed in run.deeds)
    assert 0 < untold < kinds[Kind.WATERED] / 2
    up = {deed.tray.name: hours for hours, deed in run.deeds if deed.kind is Kind.EMERGED}
    assert up["Lettuce 1"] < up["Tomato 2"] < up["Tomato 1"]  # the frame is warmer than the bench
    assert not {"Pepper 1", "Pepper 2"} & up.keys()


def test_the_same_span_gives_the_same_garden() -> None:
    assert played(2).readings == played(2).readings


def test_every_reading_is_one_that_a_probe_could_send() -> None:
    run = played(14)
    assert len({(r.probe, r.boot, r.sequence, r.head) for r in run.readings}) == len(run.readings)
    for quantity in QUANTITIES:
        values = [v for r in run.readings if (v := getattr(r, quantity.column)) is not None]
        assert all(quantity.lowest <= v <= quantity.highest for v in values), quantity.column


def test_the_weather_has_nights_and_days_and_air_that_is_never_above_saturation() -> None:
    made = weather(END_S, 14 * 96, LISBON, SEED)
    night = (made.hour_h < 5) | (made.hour_h > 22)
    assert made.sun_w_m2[night].max() == 0
    assert made.sun_w_m2.max() > 700
    assert made.rh_pct.max() <= 99.5
    afternoon = (made.hour_h > 13) & (made.hour_h < 17)
    dawn = (made.hour_h > 4) & (made.hour_h < 7)
    assert made.air_c[afternoon].mean() - made.air_c[dawn].mean() > 5
    assert np.all(made.rain_mm >= 0)


def test_a_clock_change_neither_stops_nor_doubles_a_step() -> None:
    made = weather(1_774_746_000 - 86_400, 2 * 96, LISBON, SEED)  # over 29 March 2026, 01:00 UTC
    assert set(np.diff(made.time_s)) == {float(STEP_S)}
    assert np.round(np.diff(made.hour_h) % 24, 6).max() == 1.25  # that one night the clock jumps an hour


MIX = Substrate(0.55, 0.09, 0.32, 0.76)


def settled(
    site: str, start_fraction: float, steps: int, *, bath_at: int = -1, rain_mm: float = 0.0
) -> list[float]:
    made = weather(END_S, steps, LISBON, SEED)
    made.rain_mm[0] = rain_mm
    trays, water = Trays([Spot(MIX, 0, start_fraction)], [place_air(SITES[site], made)]), []
    for at in range(steps):
        if at == bath_at:
            trays.bathe(0)
        trays.step(at)
        water.append(float(trays.water_m3_m3[0]))
    return water


def test_a_tray_only_dries_and_ever_more_slowly_until_it_is_watered() -> None:
    water = settled("cold frame", 1.0, 5 * 96)
    assert all(after <= before for before, after in pairwise(water))
    by_day = [water[i * 96] - water[(i + 1) * 96 - 1] for i in range(5)]
    assert by_day[4] < by_day[0]
    assert water[-1] > MIX.residual_m3_m3


def test_watering_from_below_wets_over_hours_to_container_capacity() -> None:
    water = settled("cold frame", 0.3, 48, bath_at=4)
    assert water[5] < water[6] < water[8]
    assert water[20] == pytest.approx(MIX.capacity_m3_m3, rel=0.05)


def test_rain_wets_the_open_bench_and_not_the_frame() -> None:
    assert settled("open bench", 0.3, 2, rain_mm=5)[0] > settled("open bench", 0.3, 2)[0] + 0.05
    assert settled("cold frame", 0.3, 2, rain_mm=5) == settled("cold frame", 0.3, 2)
