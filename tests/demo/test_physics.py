"""The simulator obeys physics that it was not written from: equilibria, conservation, others’ formulas."""

from dataclasses import replace
from zoneinfo import ZoneInfo

import numpy as np
import pytest
import refet

from traywarden.demo.physics import (
    EMISSIVITY,
    PSYCHROMETRIC_KPA_K,
    black_w_m2,
    clear_sun_w_m2,
    sky_w_m2,
)
from traywarden.demo.season import MIDDLE_MIX, MIXES
from traywarden.demo.sites import SITES, PlaceAir, Site, place_air
from traywarden.demo.trays import Spot, Substrate, Trays
from traywarden.demo.weather import Climate, Weather, season_weather
from traywarden.domain.daylight import sun_elevation_deg
from traywarden.domain.psychrometrics import saturation_vapour_pressure_kpa

LISBON = ZoneInfo("Europe/Lisbon")
JUNE_S = 1_780_272_000  # 2026-06-01T00:00Z


def chamber(
    steps: int, air_c: float, vapour_kpa: float, *, convection: float = 10.0, step_s: int = 600
) -> PlaceAir:
    """A dark room: walls as warm as its air, everything constant."""
    full = np.full(steps, 1.0)
    return PlaceAir(
        Site(),
        step_s,
        full * air_c,
        full * vapour_kpa,
        full * 0.0,
        EMISSIVITY * black_w_m2(full * air_c),
        full * convection,
        full * 0.0,
        full * 0.0,
    )


def run(trays: Trays, steps: int) -> None:
    for step in range(steps):
        trays.step(step)


def test_in_a_dark_room_of_moist_air_nothing_warms_cools_or_dries() -> None:
    trays = Trays(
        [Spot(MIDDLE_MIX, 0, 0.9)], [chamber(500, 15.0, float(saturation_vapour_pressure_kpa(15.0)))]
    )
    before = float(trays.water_m3_m3[0])
    run(trays, 500)
    assert trays.temp_c[0] == pytest.approx(15.0, abs=1e-9)
    assert trays.water_m3_m3[0] == pytest.approx(before, abs=1e-12)


def test_a_wet_tray_in_a_gale_settles_at_the_wet_bulb_temperature() -> None:
    """The psychrometer equation of FAO-56 (equation 15): e = e°(wet) − γ·(dry − wet); 25.6 and 19.5 °C as in
    its example 4. Radiation is made small against convection, and half the balance's heat comes through no
    sides. 0.05 °C is what the radiation left over does."""
    dry_c, wet_c = 25.6, 19.5
    vapour_kpa = float(saturation_vapour_pressure_kpa(wet_c)) - PSYCHROMETRIC_KPA_K * (dry_c - wet_c)
    room = chamber(400, dry_c, vapour_kpa, convection=2000.0, step_s=60)
    trays = Trays([Spot(replace(MIDDLE_MIX, residual_m3_m3=0.0), 0, 1.0, depth_mm=5000.0, edge=0.0)], [room])
    trays.temp_c[:] = 20.5
    run(trays, 400)
    assert trays.temp_c[0] == pytest.approx(wet_c, abs=0.05)


@pytest.mark.parametrize("water", [0.0, 1.0])
def test_a_tray_that_cannot_dry_cools_with_the_time_constant_of_its_heat(water: float) -> None:
    """τ = C/h from the heat capacities of de Vries and the exchange at top, edge and by radiation."""
    sealed = Substrate(0.55, 0.0, 0.30, 0.76, solids_m3_m3=0.2)
    air_c = 20.0
    room = chamber(2000, air_c, float(saturation_vapour_pressure_kpa(air_c)) * 1.5, convection=8.0, step_s=60)
    trays = Trays([Spot(sealed, 0, water, depth_mm=50.0, edge=1.0)], [room])
    trays.temp_c[:] = air_c + 0.2  # small, so that radiation is as good as linear
    capacity = 0.05 * (0.2 * 2.51e6 + water * 0.55 * 4.18e6)
    tau_s = capacity / (16.0 + 4 * EMISSIVITY * 5.670374e-8 * 293.15**3)
    run(trays, round(tau_s / 60))
    assert (trays.temp_c[0] - air_c) / 0.2 == pytest.approx(np.exp(-1), abs=0.01)


def test_water_that_freezes_gives_off_its_latent_heat() -> None:
    """0.5 m³/m³ of 45 mm are 22.5 l/m²: 7.5 MJ/m² to freeze. The time it takes longer than a dry tray is that
    heat over the loss, which stays the same while the mix stays at 0 °C."""
    frost, hours = chamber(6000, -6.0, 0.3, convection=8.0, step_s=60), {}
    for name, water in (("wet", 1.0), ("dry", 0.0)):
        trays = Trays([Spot(Substrate(0.5, 0.0, 0.3, 0.7), 0, water, edge=1.0)], [frost])
        trays.temp_c[:] = 1.0
        step = 0
        while trays.temp_c[0] > -0.5:
            trays.step(step)
            step += 1
        hours[name] = step / 60
    loss_w_m2 = (16.0 + 4 * EMISSIVITY * 5.670374e-8 * 270.15**3) * 5.75  # from −0.25 to −6 °C
    assert hours["wet"] - hours["dry"] == pytest.approx(0.5 * 0.045 * 3.34e8 / loss_w_m2 / 3600, rel=0.15)


def sky(**changes: float) -> Weather:
    steps = 20 * 144
    made = season_weather(JUNE_S, steps, 600, LISBON, 3, Climate())
    made.rain_mm[:] = 0.0
    for name, value in changes.items():
        getattr(made, name)[:] = value
    return made


def test_water_is_neither_made_nor_lost() -> None:
    made = season_weather(JUNE_S, 40 * 144, 600, LISBON, 3, Climate(rain_days=0.5))
    airs = [place_air(site, made) for site in SITES.values()]
    spots = [Spot(mix, place, 0.7) for mix in MIXES.values() for place in range(3)]
    trays = Trays(spots, airs)
    before, sums = trays.water_m3_m3 * trays.depth_mm, np.zeros(len(spots))
    for step in range(made.time_s.size):
        if step % 500 == 100:
            trays.bathe(step % 9)
            trays.pour((step + 4) % 9, 9.0)
        f = trays.step(step)
        sums += f.poured_mm + f.wicked_mm - f.evaporated_mm - f.drained_mm - f.ran_off_mm
    assert np.allclose(trays.water_m3_m3 * trays.depth_mm, before + sums, atol=1e-9)
    assert np.all(trays.water_m3_m3 >= trays.residual_m3_m3 - 1e-12)


def test_a_wet_tray_on_the_bench_evaporates_about_as_much_as_reference_grass() -> None:
    """FAO-56 allows wet bare soil up to 1.2 times the reference evapotranspiration (Kc max); a dark tray
    with warm sides may go beyond. refet's daily equation is the judge; a mean of 20 days."""
    made = sky()
    trays = Trays([Spot(MIDDLE_MIX, 0, 1.0)], [place_air(SITES["open bench"], made)])
    lost_mm = 0.0
    for step in range(made.time_s.size):
        trays.water_m3_m3[:] = MIDDLE_MIX.capacity_m3_m3  # kept in stage one
        lost_mm += float(trays.step(step).evaporated_mm[0])
    shape = (20, 144)
    reference = refet.Daily(
        tmin=made.air_c.reshape(shape).min(axis=1),
        tmax=made.air_c.reshape(shape).max(axis=1),
        ea=made.vapour_kpa.reshape(shape).mean(axis=1),
        rs=made.sun_w_m2.reshape(shape).mean(axis=1) * 0.0864,
        uz=made.wind_m_s.reshape(shape).mean(axis=1) * 1.5,  # trays stand lower than 2 m
        zw=2,
        elev=0,
        lat=39.5,
        doy=np.arange(152, 172),
        method="asce",
    ).eto()
    assert 0.8 < lost_mm / float(np.sum(reference)) < 1.6


def test_the_sky_takes_as_much_heat_as_fao_56_says() -> None:
    """FAO-56 equation 39 for a clear sky: σT⁴·(0.34 − 0.14·√e). Two regressions, other stations: 25 %."""
    for air_c, vapour_kpa in ((5.0, 0.7), (15.0, 1.2), (25.0, 2.0)):
        black = float(black_w_m2(np.array(air_c)))
        ours = black - float(sky_w_m2(np.array(air_c), np.array(vapour_kpa), np.array(0.0)))
        assert ours == pytest.approx(black * (0.34 - 0.14 * vapour_kpa**0.5), rel=0.25)
    overcast = float(sky_w_m2(np.array(15.0), np.array(1.2), np.array(1.0)))
    assert overcast == pytest.approx(float(black_w_m2(np.array(15.0))), rel=0.05)


def test_a_clear_day_brings_as_much_sun_as_fao_56_says() -> None:
    """FAO-56 example 8: 32.2 MJ/m² above the air at 20° S on 3 September; 0.75 of it on the ground (equation
    37, sea level). The two rules differ by some percent."""
    day_s = 1_788_393_600 + np.arange(0, 86_400, 300.0)  # 3 September 2026
    total = clear_sun_w_m2(sun_elevation_deg(day_s, -20.0, 0.0)).mean() * 0.0864
    assert total == pytest.approx(0.75 * 32.2, rel=0.1)


def test_on_a_clear_calm_night_the_bench_falls_below_the_air_and_the_frame_stays_above() -> None:
    made = sky(cloud=0.0, wind_m_s=0.3)
    airs = [place_air(SITES[name], made) for name in ("open bench", "cold frame")]
    trays = Trays([Spot(MIDDLE_MIX, 0, 0.2), Spot(MIDDLE_MIX, 1, 0.2)], airs)
    bench, frame = [], []
    for step in range(made.time_s.size):
        trays.step(step)
        bench.append(trays.temp_c[0] - made.air_c[step])
        frame.append(trays.temp_c[1] - made.air_c[step])
    late = (made.hour_h > 4) & (made.hour_h < 6)
    assert np.median(np.array(bench)[late]) < -1.0
    assert np.median(np.array(frame)[late]) > 1.0
    cloudy = sky(cloud=1.0, wind_m_s=0.3)
    trays = Trays([Spot(MIDDLE_MIX, 0, 0.2)], [place_air(SITES["open bench"], cloudy)])
    under_cloud = []
    for step in range(cloudy.time_s.size):
        trays.step(step)
        under_cloud.append(trays.temp_c[0] - cloudy.air_c[step])
    assert np.median(np.array(under_cloud)[late]) > np.median(np.array(bench)[late]) + 1.0


def test_the_automatic_opener_opens_when_warm_and_holds_the_frame_down() -> None:
    made = sky(cloud=0.0)
    own = SITES["cold frame"]
    assert own.cover is not None
    shut = place_air(replace(own, cover=replace(own.cover, vents_w_m2_k=0.0)), made)
    found = place_air(own, made)
    hot = shut.temp_c > 34
    assert hot.any()
    assert found.open_part[hot].min() > 0.2
    assert np.all(found.temp_c[hot] < shut.temp_c[hot] - 2)
    assert found.open_part[(made.hour_h < 5)].max() < 0.05
