"""A tray's record holds what was measured and done, and agrees with every question it takes part of."""

from datetime import timedelta

import numpy as np
import pytest

from tests.services.little_garden import (
    BENCH_MEAN_C,
    CAPACITY,
    DAY_MS,
    DRY_LINE,
    FRAME_WARMER_C,
    NOW_MS,
    START_MS,
    SWING_C,
    LittleGarden,
    bench_c,
    little_garden,
    moisture_m3_m3,
)
from tests.services.questions.conftest import grounded
from traywarden.domain.journal import Kind
from traywarden.domain.units import Display
from traywarden.errors import ShortOfDataError, UsageError
from traywarden.links.pictures import draw
from traywarden.services.questions.dry_down import ask_dry_down
from traywarden.services.questions.outlook import ask_outlook
from traywarden.services.questions.tray_picture import tray_picture
from traywarden.services.questions.tray_record import Line, TrayRecord, ask_tray_record
from traywarden.services.questions.waterings import ask_waterings
from traywarden.store import journal


@pytest.fixture
def mine(tmp_path):  # type: ignore[no-untyped-def]
    """A garden to write in."""
    made = little_garden(tmp_path)
    yield made
    made.store.close()


def _drawn(line: Line) -> tuple[np.ndarray, np.ndarray]:
    points = [point for stretch in line.stretches for point in stretch]
    return (
        np.array([point.at.timestamp() * 1000 for point in points]),
        np.array([point.value for point in points]),
    )


def _write(garden: LittleGarden, kind: Kind, at_ms: int, **fields: object) -> None:
    with garden.store.write() as tx:
        journal.write(tx, kind, at_ms, NOW_MS, **fields)  # type: ignore[arg-type]


@pytest.mark.parametrize("days", [3.0, 14.0])
def test_moisture_and_warmth_are_those_the_garden_was_made_with(little: LittleGarden, days: float) -> None:
    with grounded(little.store) as ground:
        record = ask_tray_record(ground, "tomatoes", days)
    [moisture], [soil], [air] = record.moisture, record.soil, record.air
    time_ms, pct = _drawn(moisture)
    assert pct == pytest.approx(moisture_m3_m3("tomatoes", time_ms) / CAPACITY * 100, abs=0.01)
    for line in (soil, air):
        time_ms, temps_c = _drawn(line)
        assert temps_c == pytest.approx(bench_c(time_ms) + FRAME_WARMER_C, abs=0.006)
        assert (line.low, line.high) == (
            BENCH_MEAN_C + FRAME_WARMER_C - SWING_C,
            BENCH_MEAN_C + FRAME_WARMER_C + SWING_C,
        )
    assert record.end - record.start == timedelta(days=days)
    assert (time_ms >= NOW_MS - days * DAY_MS).all()


def test_its_parts_are_the_answers_of_the_other_questions(little: LittleGarden) -> None:
    with grounded(little.store) as ground:
        record = ask_tray_record(ground, "peppers", 10)
        assert record.waterings == ask_waterings(ground, "peppers", 10).trays[0].events
        assert record.dry_downs == ask_dry_down(ground, tray="peppers", days=10).stretches
        assert record.outlook == ask_outlook(ground, "peppers").trays[0]
    assert record.waterings
    assert record.dry_downs
    assert record.outlook.path
    [held] = record.held
    assert held.dry_line_pct == pytest.approx(DRY_LINE / CAPACITY * 100, abs=0.05)
    assert "bench/2: its moisture is not calibrated in your mix" in record.remarks


def test_a_gap_in_the_readings_is_a_gap_in_every_line(mine: LittleGarden) -> None:
    first_ms, last_ms = START_MS + 11 * DAY_MS, START_MS + 12 * DAY_MS
    with mine.store.write() as tx:
        tx.exec_driver_sql("DELETE FROM reading WHERE time_ms BETWEEN ? AND ?", (first_ms, last_ms))
        tx.exec_driver_sql("DELETE FROM packed_day")
    with grounded(mine.store) as ground:
        record = ask_tray_record(ground, "tomatoes", 7)
        picture = tray_picture(record, Display())
    for line in (*record.moisture, *record.soil, *record.air):
        before, after = line.stretches
        assert before[-1].at.timestamp() * 1000 < first_ms
        assert after[0].at.timestamp() * 1000 > last_ms
    assert len({row["part"] for row in picture["datasets"]["moisture"]}) == 2


def test_the_air_is_that_of_where_it_stood(mine: LittleGarden) -> None:
    moved_ms = START_MS + 12 * DAY_MS
    ids = mine.tray_ids["tomatoes"], mine.place_ids["Open bench"]
    _write(mine, Kind.MOVED, moved_ms, tray_id=ids[0], place_id=ids[1])
    with grounded(mine.store) as ground:
        record = ask_tray_record(ground, "tomatoes", 7)
    frame, bench = record.air
    assert (frame.of, bench.of) == ("Cold frame", "Open bench")
    assert _drawn(frame)[0].max() < moved_ms <= _drawn(bench)[0].min()
    # Its probe came with it, so that two sensors hang there now, which differ by what the frame's reads more.
    assert _drawn(bench)[1] == pytest.approx(bench_c(_drawn(bench)[0]) + FRAME_WARMER_C / 2, abs=0.006)
    assert record.place == "Open bench"


def test_moisture_is_told_in_the_container_capacity_that_held_at_the_time(mine: LittleGarden) -> None:
    from_ms = START_MS + 12 * DAY_MS
    with mine.store.read() as tx:
        mix_id = tx.exec_driver_sql("SELECT mix_id FROM mix WHERE name = 'Peat mix'").scalar_one()
    data = {"container_capacity_m3_m3": 0.50}
    _write(mine, Kind.CAPACITY_ACCEPTED, from_ms, mix_id=mix_id, data=data)
    with grounded(mine.store) as ground:
        record = ask_tray_record(ground, "tomatoes", 7)
    assert [held.dry_line_pct for held in record.held] == [
        pytest.approx(DRY_LINE / CAPACITY * 100, abs=0.05),
        pytest.approx(DRY_LINE / 0.50 * 100, abs=0.05),
    ]
    time_ms, pct = _drawn(record.moisture[0])
    capacity = np.where(time_ms < from_ms, CAPACITY, 0.50)
    assert pct == pytest.approx(moisture_m3_m3("tomatoes", time_ms) / capacity * 100, abs=0.01)


def test_a_crops_limits_last_from_sowing_to_planting_out(mine: LittleGarden) -> None:
    out_ms = START_MS + 10 * DAY_MS
    _write(mine, Kind.PLANTED_OUT, out_ms, tray_id=mine.tray_ids["tomatoes"])
    with grounded(mine.store) as ground:
        record = ask_tray_record(ground, "tomatoes", 30)
        [limits] = record.limits
        assert (limits.start, limits.end) == (ground.at(START_MS), ground.at(out_ms))
    assert (limits.crop, limits.floor_c, limits.floor_kind) == ("Tomato", 10.0, "published minimum")


def test_its_journal_has_what_was_done_to_it_its_place_and_the_garden_and_no_more(mine: LittleGarden) -> None:
    at_ms = NOW_MS - DAY_MS
    bench = mine.place_ids["Open bench"]
    _write(mine, Kind.NOTED, at_ms, tray_id=mine.tray_ids["lettuce"], note="slugs")
    _write(mine, Kind.NOTED, at_ms, tray_id=mine.tray_ids["peppers"], note="not of lettuce")
    _write(mine, Kind.WATERED, at_ms, place_id=bench, data={"how": "above"})
    _write(mine, Kind.VENTED, at_ms, place_id=mine.place_ids["Cold frame"])
    _write(mine, Kind.RAINED, at_ms, data={"mm": 4.0})
    with grounded(mine.store) as ground:
        lettuce = ask_tray_record(ground, "lettuce", 3).journal
        tomatoes = ask_tray_record(ground, "tomatoes", 3).journal
    assert [(m.kind, m.note, m.own) for m in lettuce] == [
        ("noted", "slugs", True),
        ("watered", "", False),
        ("rained", "", False),
    ]
    assert [m.kind for m in tomatoes] == ["vented"], "no rain falls under the lid of a frame"


def test_nights_are_dark_at_midnight_and_never_at_noon(little: LittleGarden) -> None:
    with grounded(little.store) as ground:
        record = ask_tray_record(ground, "peppers", 5)
    assert record.until > record.end, "the outlook reaches on, and so do the nights"
    assert record.until <= record.end + (record.end - record.start) / 2
    hours = [
        record.start + timedelta(hours=n)
        for n in range(round((record.until - record.start).total_seconds() / 3600))
    ]
    dark = {at for at in hours if any(night.start <= at < night.end for night in record.nights)}
    assert {at.hour for at in dark} >= {22, 23, 0, 1, 2, 3, 4}
    assert not {at.hour for at in dark} & set(range(9, 17))
    assert all(at in dark for at in hours if at.hour in (22, 0, 4))


def test_what_is_missing_is_said(mine: LittleGarden) -> None:
    with mine.store.write() as tx:
        tx.exec_driver_sql("DELETE FROM journal WHERE kind = 'filled'")
    with grounded(mine.store) as ground:
        record = ask_tray_record(ground, "lettuce", 3)
    assert not record.moisture
    assert record.soil
    assert "bench/1: where no mix is written down, moisture is not shown" in record.remarks


@pytest.mark.parametrize("days", [0.0, -1.0, 5000.0])
def test_a_span_that_holds_nothing_is_refused(little: LittleGarden, days: float) -> None:
    with grounded(little.store) as ground, pytest.raises(UsageError, match="cannot be shown"):
        ask_tray_record(ground, "lettuce", days)


def test_before_the_first_reading_it_says_so(empty: LittleGarden) -> None:
    with grounded(empty.store) as ground, pytest.raises(ShortOfDataError):
        ask_tray_record(ground, "lettuce", 7)


def _times(record: TrayRecord) -> tuple[str, str]:
    first, last = (
        at.replace(tzinfo=None).isoformat(timespec="seconds") for at in (record.start, record.until)
    )
    return first, last


def test_all_panels_of_the_picture_share_one_time_axis(little: LittleGarden, tmp_path) -> None:  # type: ignore[no-untyped-def]
    with grounded(little.store) as ground:
        record = ask_tray_record(ground, "tomatoes", 14)
    spec = tray_picture(record, Display())
    axes = {
        tuple(layer["encoding"]["x"]["scale"]["domain"])
        for panel in spec["vconcat"]
        for layer in panel["layer"]
        if "scale" in layer["encoding"]["x"]
    }
    assert axes == {_times(record)}
    assert len(spec["vconcat"]) == 3
    draw(spec, tmp_path / "tray.svg")
    text = (tmp_path / "tray.svg").read_text(encoding="utf-8")
    for words in ("dry line", "Tomato: published minimum 10 °C", "by hand from above", "watered", "%/day"):
        assert words in text


def test_the_picture_speaks_fahrenheit_to_whoever_reads_it(little: LittleGarden) -> None:
    with grounded(little.store, display__temperature="F") as ground:
        record = ask_tray_record(ground, "tomatoes", 7)
        spec = tray_picture(record, ground.display)
    temps = [row["value"] for row in spec["datasets"]["temps"]]
    assert (min(temps), max(temps)) == (pytest.approx(48.2), pytest.approx(66.2))  # 9 and 19 °C
    [low, high] = spec["datasets"]["edges"]
    assert (low["value"], high["value"]) == (50.0, 95.0)
    assert "soil and air, °F" in str(spec["vconcat"][1]["encoding"])
