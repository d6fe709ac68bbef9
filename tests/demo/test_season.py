"""A simulated season is reproducible, keeps truth and readings apart, and shows the faults put in."""

from dataclasses import replace

import numpy as np
import pytest

from traywarden.demo.faults import Fault, FaultKind
from traywarden.demo.hands import Hands
from traywarden.demo.season import START_S, HeadPlan, Season, grown
from traywarden.demo.season_store import kept
from traywarden.demo.sensors import drawn_sensors
from traywarden.demo.weather import Climate
from traywarden.domain.flags import Flag
from traywarden.domain.quality import flag_values
from traywarden.services.series import tray_series
from traywarden.store import journal as journal_store
from traywarden.store import readings as reading_store
from traywarden.store.store import Store

DAY_S = 86_400
DAYS = 30


@pytest.fixture(scope="module")
def season() -> Season:
    return grown(days=DAYS, heads=9, seed=5)


def faulty(*faults: Fault) -> Season:
    return grown(days=DAYS, heads=9, seed=5, faults=faults)


def rows(season: Season, fault: Fault) -> np.ndarray:
    return (season.time_s >= fault.start_s) & (season.time_s < fault.end_s)


def a_fault(kind: FaultKind, *, hours: float = 24.0, size: float = 0.0, other: int = -1) -> Fault:
    start_s = START_S + 10 * DAY_S
    return Fault(kind, 4, start_s, start_s + hours * 3600, size, other)


def test_the_same_arguments_give_the_same_season_and_another_seed_another(season: Season) -> None:
    again, other = grown(days=DAYS, heads=9, seed=5), grown(days=DAYS, heads=9, seed=6)
    assert np.array_equal(again.moisture_v, season.moisture_v)
    assert again.truth.wetted == season.truth.wetted
    assert not np.array_equal(other.moisture_v, season.moisture_v)


def test_every_mix_meets_every_place_and_all_are_watered(season: Season) -> None:
    assert {(p.mix, p.place) for p in season.plans} == {
        (mix, place) for mix in {p.mix for p in season.plans} for place in season.airs
    }
    assert {w.how for w in season.truth.wetted} == {"above", "below"}
    assert {w.thorough for w in season.truth.wetted} == {True, False}


def test_readings_are_the_truth_seen_through_each_head(season: Season) -> None:
    """Within noise, offset, temperature effect and half a step; never the truth itself."""
    warm = season.truth.soil_temp_c.min(axis=0) > 0.5
    for head in map(int, np.flatnonzero(warm)):
        off = season.moisture_m3_m3(head) - season.truth.water_m3_m3[:, head]
        per_c = season.sensors.m3_m3_per_c[head]
        left = off - per_c * (season.truth.soil_temp_c[:, head] - 20.0)
        assert left.std() < 0.002
        assert abs(left.mean()) < 0.001
    assert np.abs(season.soil_temp_c - season.truth.soil_temp_c).max() < 0.5 + 5 * 0.04 + 0.0625


def test_a_drifting_and_a_bent_head_do_what_they_say() -> None:
    base = drawn_sensors(np.full(9, 0.5), np.random.default_rng(1), volts_per_c=0.0)
    slow = replace(base, drift_v_per_week=np.full(9, 0.02))
    season = grown(days=DAYS, heads=9, seed=5, sensors=slow)
    off_v = season.moisture_v - base.volts(
        season.truth.liquid_m3_m3, season.truth.soil_temp_c, 0.0, np.random.default_rng(2)
    )
    assert off_v[-144:].mean() == pytest.approx(0.02 * DAYS / 7, abs=0.002)
    bent = replace(base, bend=np.full(9, 0.05))
    half = np.full(9, 0.25)
    none = np.random.default_rng(3)
    moved_v = bent.volts(half, half, 0.0, none) - base.volts(half, half, 0.0, np.random.default_rng(3))
    assert moved_v == pytest.approx(0.05 * (base.wet_v - base.dry_v), abs=0.0011)


def test_frozen_mix_looks_dry_and_is_not() -> None:
    season = grown(days=20, heads=9, seed=8, climate=Climate(mean_c=8.0))
    ice = season.truth.soil_temp_c < -0.4
    assert ice.any()
    assert np.all(season.truth.liquid_m3_m3[ice] < 0.25 * season.truth.water_m3_m3[ice])
    assert np.all(season.truth.water_m3_m3[ice] > 0.05)


@pytest.mark.parametrize("kind", list(FaultKind))
def test_a_fault_touches_its_head_and_time_and_nothing_else(season: Season, kind: FaultKind) -> None:
    fault = a_fault(kind, size=0.5, other=7)
    found = faulty(fault)
    struck = rows(found, fault)
    touched = [4, 7] if kind is FaultKind.SWAPPED else [4]
    others = [head for head in range(9) if head not in touched]
    for was, now in (
        (season.soil_temp_c, found.soil_temp_c),
        (season.moisture_v, found.moisture_v),
    ):
        assert np.array_equal(was[~struck], now[~struck])
        assert np.array_equal(was[:, others], now[:, others])
    same = np.array_equal(season.soil_temp_c[struck][:, 4], found.soil_temp_c[struck][:, 4])
    same &= np.array_equal(season.moisture_v[struck][:, 4], found.moisture_v[struck][:, 4])
    assert not same
    assert np.array_equal(season.truth.water_m3_m3, found.truth.water_m3_m3)


def test_each_fault_looks_as_it_does_at_the_bench(season: Season) -> None:
    single = a_fault(FaultKind.POWER_UP, hours=1 / 6)
    found = faulty(single)
    assert found.soil_temp_c[rows(found, single), 4].tolist() == [85.0]
    flags = flag_values("soil_temp_c", found.time_s, found.soil_temp_c[:, 4])
    assert (
        np.flatnonzero(flags & Flag.POWER_UP_VALUE).tolist() == np.flatnonzero(rows(found, single)).tolist()
    )

    gone = a_fault(FaultKind.DISCONNECTED)
    found = faulty(gone)
    flags = flag_values("soil_temp_c", found.time_s, found.soil_temp_c[:, 4])
    assert ((flags & Flag.DISCONNECTED) != 0).tolist() == rows(found, gone).tolist()

    spikes = a_fault(FaultKind.SPIKES, size=0.6)
    found = faulty(spikes)
    flags = flag_values("moisture_v", found.time_s, found.moisture_v[:, 4])
    assert 4 <= np.count_nonzero(flags & Flag.SPIKE) <= 8

    out = a_fault(FaultKind.PULLED_OUT)
    found = faulty(out)
    assert found.moisture_m3_m3(4)[rows(found, out)].max() < 0.02
    air_c = season.airs[season.plans[4].place].temp_c
    assert np.median(np.abs(found.soil_temp_c[:, 4] - air_c)[rows(found, out)]) < 1.5

    wet = a_fault(FaultKind.IN_WATER)
    found = faulty(wet)
    assert found.moisture_m3_m3(4)[rows(found, wet)].min() > found.sensors.capacity_m3_m3[4]

    sun = a_fault(FaultKind.IN_SUN, size=10.0)
    found = faulty(sun)
    warmer = (found.soil_temp_c - season.soil_temp_c)[rows(found, sun), 4]
    sun_w_m2 = season.airs[season.plans[4].place].sun_w_m2[rows(found, sun)]
    assert np.all(warmer[sun_w_m2 == 0] == 0)
    assert warmer.max() == pytest.approx(10.0 * sun_w_m2.max() / 800.0, rel=0.01)


def test_two_heads_in_a_tray_out_of_level_part_after_water_from_below() -> None:
    plans = (
        HeadPlan("Long tray", "Middle mix", "cold frame"),
        HeadPlan("Long tray", "Middle mix", "cold frame", low_m3_m3=0.08),
    )
    season = grown(days=DAYS, plans=plans, seed=5, hands=Hands(seed=5, from_below=1.0))
    baths = [w for w in season.truth.wetted if w.how == "below"]
    assert len(baths) > 2
    assert all(w.heads == (0, 1) for w in baths)
    for bath in baths[:-1]:
        after = int((bath.at_s - season.time_s[0]) / season.step_s) + 30
        gap = season.truth.water_m3_m3[after, 0] - season.truth.water_m3_m3[after, 1]
        assert 0.03 < gap < 0.09


def test_a_stored_season_comes_out_of_the_store_as_it_went_in(sqlite_store: Store) -> None:
    season = grown(days=3, heads=5, seed=2)
    made = kept(sqlite_store, season, written_down=1.0)
    with sqlite_store.read() as tx:
        assert reading_store.count(tx) == made.readings == 3 * 144 * (5 + 2)
        facts = journal_store.facts(tx)
        [head] = tray_series(tx, facts, made.tray_ids["Tray 4"], 0, made.now_ms + 1, earliest_year=2020)
    assert head.label == "/".join(map(str, season.probe_of(3)))
    assert head.moisture_calibrated
    assert head.moisture_m3_m3 == pytest.approx(season.moisture_m3_m3(3), abs=1e-9)
    assert head.soil_temp_c == pytest.approx(season.soil_temp_c[:, 3], abs=1e-4)
