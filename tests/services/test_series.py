"""The right readings reach the right tray and place, calibrated, and only while the head was there."""

from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest

from tests.services.little_garden import (
    DAY_MS,
    FRAME_WARMER_C,
    NOW_MS,
    START_MS,
    STEP_MS,
    LittleGarden,
    little_garden,
    moisture_m3_m3,
)
from traywarden.domain.flags import Flag
from traywarden.domain.journal import Facts, Kind
from traywarden.domain.readings import BOOT_IMPORTED, Reading
from traywarden.domain.series import HeadSeries
from traywarden.services.series import place_series, rain_series, tray_series
from traywarden.store import garden, journal, probes, readings
from traywarden.store.store import Tx

YEAR = 2020


@pytest.fixture
def small(tmp_path: Path) -> Iterator[LittleGarden]:
    made = little_garden(tmp_path, until_ms=START_MS + 3 * DAY_MS)
    yield made
    made.store.close()


def _tray(
    tx: Tx, small: LittleGarden, name: str, start_ms: int = 0, end_ms: int = NOW_MS
) -> list[HeadSeries]:
    return tray_series(tx, journal.facts(tx), small.tray_ids[name], start_ms, end_ms, earliest_year=YEAR)


def test_a_tray_gets_its_heads_readings_calibrated(small: LittleGarden) -> None:
    with small.store.read() as tx:
        (mine,) = _tray(tx, small, "tomatoes")
        (bark,) = _tray(tx, small, "lettuce")
    assert mine.label == "frame/1"
    assert mine.time_s.size == 3 * 144 + 1
    np.testing.assert_allclose(mine.moisture_m3_m3, moisture_m3_m3("tomatoes", mine.time_s * 1000), atol=1e-9)
    assert mine.moisture_calibrated
    assert not bark.moisture_calibrated  # nobody calibrated the bark mix


def test_a_curve_made_later_explains_the_past_from_the_raw_volts(small: LittleGarden) -> None:
    """The first calibration of a head; checked against numpy's own interpolation of the curve's points."""
    volts, water = [1.2, 1.6, 2.2, 2.8], [0.6, 0.4, 0.1, 0.0]
    with small.store.write() as tx:
        head = probes.head_labelled(tx, "bench/1")
        points = {"points": [list(point) for point in zip(volts, water, strict=True)]}
        journal.write(tx, Kind.CALIBRATED, NOW_MS, NOW_MS, head_id=head.head_id, data=points)
    with small.store.read() as tx:
        (mine,) = _tray(tx, small, "lettuce")
        raw = readings.columns(tx, head.head_id, START_MS, START_MS + 3 * DAY_MS + 1).values["moisture_v"]
    assert mine.moisture_calibrated
    assert raw.size > 400
    np.testing.assert_allclose(mine.moisture_m3_m3, np.interp(raw, volts, water), atol=1e-12)


def test_a_span_includes_its_start_and_excludes_its_end(small: LittleGarden) -> None:
    with small.store.read() as tx:
        (mine,) = _tray(tx, small, "tomatoes", START_MS + STEP_MS, START_MS + 3 * STEP_MS)
    assert (mine.time_s * 1000).tolist() == [START_MS + STEP_MS, START_MS + 2 * STEP_MS]


def test_a_head_moved_to_another_tray_takes_its_readings_along_from_then_on(small: LittleGarden) -> None:
    at_ms = START_MS + DAY_MS
    with small.store.write() as tx:
        head = probes.head_labelled(tx, "bench/1")
        journal.write(
            tx, Kind.HEAD_PLACED, at_ms, at_ms, head_id=head.head_id, tray_id=small.tray_ids["tomatoes"]
        )
        (before,) = _tray(tx, small, "lettuce")
        first, second = _tray(tx, small, "tomatoes")
    assert before.time_s.max() * 1000 == at_ms - STEP_MS
    assert (first.label, second.label) == ("frame/1", "bench/1")
    assert second.time_s.min() * 1000 == at_ms
    assert second.moisture_calibrated  # by the calibration of the mix it now sits in


def test_a_tray_whose_mix_was_never_written_down_still_has_its_readings(small: LittleGarden) -> None:
    with small.store.read() as tx:
        entries = [e for e in journal.entries(tx) if e.kind is not Kind.FILLED]
        found = tray_series(tx, Facts(entries), small.tray_ids["tomatoes"], 0, NOW_MS, earliest_year=YEAR)
    assert [s.moisture_calibrated for s in found] == [False]
    assert found[0].time_s.size == 3 * 144 + 1


def test_a_tray_without_heads_or_readings_gives_nothing_or_empty_series(
    small: LittleGarden, tmp_path: Path
) -> None:
    with small.store.write() as tx:
        bare = garden.add_tray(tx, "bare")
        assert tray_series(tx, journal.facts(tx), bare.tray_id, 0, NOW_MS, earliest_year=YEAR) == []
        (later,) = _tray(tx, small, "tomatoes", NOW_MS, NOW_MS + DAY_MS)
    assert later.time_s.size == 0
    assert later.used("moisture_m3_m3")[0].size == 0


def test_water_content_beyond_belief_is_out_of_range_even_from_volts_in_range(small: LittleGarden) -> None:
    """4.5 V is a voltage a sensor can give; by the calibration it would be −0.8 m³/m³."""
    at_ms = START_MS + 3 * DAY_MS + STEP_MS
    with small.store.write() as tx:
        readings.insert(tx, [Reading("frame", 1, 1, 9999, at_ms, at_ms, moisture_v=4.5)])
        (mine,) = _tray(tx, small, "tomatoes")
    assert mine.flags["moisture_m3_m3"][-1] & Flag.OUT_OF_RANGE
    assert mine.used("moisture_m3_m3")[0].size == 3 * 144 + 1


def test_a_reading_from_1970_is_left_out_and_one_from_a_file_is_not(small: LittleGarden) -> None:
    with small.store.write() as tx:
        readings.insert(tx, [Reading("frame", 1, 1, 9999, 5_000, START_MS, soil_temp_c=12.0)])
        readings.insert(tx, [Reading("frame", 1, BOOT_IMPORTED, 1, DAY_MS, START_MS, soil_temp_c=12.0)])
        # the head was not placed in 1970, so ask for it as if it had been
        facts = journal.facts(tx)
        head = probes.head_labelled(tx, "frame/1")
        early = journal.write(
            tx, Kind.HEAD_PLACED, 0, 0, head_id=head.head_id, tray_id=small.tray_ids["tomatoes"]
        )
        facts = Facts([early])
        (mine,) = tray_series(tx, facts, small.tray_ids["tomatoes"], 0, START_MS, earliest_year=YEAR)
    assert mine.flags["soil_temp_c"].tolist() == [Flag.CLOCK_IMPOSSIBLE, 0]
    assert mine.used("soil_temp_c")[0].tolist() == [DAY_MS / 1000]


def test_the_probes_own_air_counts_for_the_place_where_its_trays_stand(small: LittleGarden) -> None:
    with small.store.read() as tx:
        facts = journal.facts(tx)
        frame = place_series(tx, facts, small.place_ids["Cold frame"], 0, NOW_MS, earliest_year=YEAR)
        bench = place_series(tx, facts, small.place_ids["Open bench"], 0, NOW_MS, earliest_year=YEAR)
    assert [s.label for s in frame.air] == ["frame/0"]
    assert [s.label for s in bench.air] == ["bench/0"]
    assert [s.label for s in frame.soil] == ["frame/1"]
    assert sorted(s.label for s in bench.soil) == ["bench/1", "bench/2"]
    difference = frame.air[0].air_temp_c - bench.air[0].air_temp_c
    np.testing.assert_allclose(difference, FRAME_WARMER_C, atol=1e-9)


def test_an_air_sensor_hung_elsewhere_counts_there_and_only_there(small: LittleGarden) -> None:
    at_ms = START_MS + DAY_MS
    with small.store.write() as tx:
        own = probes.head_labelled(tx, "bench/0")
        place_id = small.place_ids["Cold frame"]
        journal.write(tx, Kind.HEAD_PLACED, at_ms, at_ms, head_id=own.head_id, place_id=place_id)
        facts = journal.facts(tx)
        frame = place_series(tx, facts, place_id, 0, NOW_MS, earliest_year=YEAR)
        bench = place_series(tx, facts, small.place_ids["Open bench"], 0, NOW_MS, earliest_year=YEAR)
    assert {s.label: s.time_s.size for s in frame.air} == {"bench/0": 2 * 144 + 1, "frame/0": 3 * 144 + 1}
    assert {s.label: s.time_s.size for s in bench.air} == {"bench/0": 144}


def test_a_probe_with_heads_in_two_places_lies_where_its_lowest_head_is(small: LittleGarden) -> None:
    at_ms = START_MS + DAY_MS
    with small.store.write() as tx:
        place_id = small.place_ids["Cold frame"]
        journal.write(
            tx, Kind.MOVED, at_ms, at_ms, tray_id=small.tray_ids["peppers"], place_id=place_id
        )  # bench/2
        facts = journal.facts(tx)
        frame = place_series(tx, facts, place_id, 0, NOW_MS, earliest_year=YEAR)
        bench = place_series(tx, facts, small.place_ids["Open bench"], 0, NOW_MS, earliest_year=YEAR)
    assert [s.label for s in frame.air] == ["frame/0"]
    assert {s.label: s.time_s.size for s in bench.air} == {"bench/0": 3 * 144 + 1}
    assert {s.label: s.time_s.size for s in frame.soil} == {"frame/1": 3 * 144 + 1, "bench/2": 2 * 144 + 1}


def test_a_tray_moved_between_places_is_measured_where_it_stands(small: LittleGarden) -> None:
    at_ms = START_MS + DAY_MS
    with small.store.write() as tx:
        place_id = small.place_ids["Open bench"]
        journal.write(tx, Kind.MOVED, at_ms, at_ms, tray_id=small.tray_ids["tomatoes"], place_id=place_id)
        facts = journal.facts(tx)
        frame = place_series(tx, facts, small.place_ids["Cold frame"], 0, NOW_MS, earliest_year=YEAR)
    assert frame.soil[0].time_s.max() * 1000 == at_ms - STEP_MS
    assert frame.air[0].time_s.max() * 1000 == at_ms - STEP_MS


def test_rain_is_read_from_heads_outside_trays_and_not_from_under_cover(small: LittleGarden) -> None:
    with small.store.write() as tx:
        rows = [
            Reading("gauge", 0, 1, n, START_MS + n * STEP_MS, START_MS + n * STEP_MS, rain_mm=0.2)
            for n in range(4)
        ]
        readings.insert(tx, rows)
        covered = {small.place_ids["Cold frame"]}
        found = rain_series(tx, journal.facts(tx), covered, 0, NOW_MS, earliest_year=YEAR)
        assert [(s.label, s.time_s.size) for s in found] == [("gauge/0", 4)]
        gauge = probes.head_labelled(tx, "gauge/0")
        at_ms = START_MS + 2 * STEP_MS
        place_id = small.place_ids["Cold frame"]
        journal.write(tx, Kind.HEAD_PLACED, at_ms, at_ms, head_id=gauge.head_id, place_id=place_id)
        (cut,) = rain_series(tx, journal.facts(tx), covered, 0, NOW_MS, earliest_year=YEAR)
    assert cut.time_s.size == 2
