"""Each trouble put into the little garden comes back with its reason and what to do."""

from datetime import datetime
from pathlib import Path
from zoneinfo import ZoneInfo

import msgspec
import numpy as np
import pytest

from tests.services.little_garden import DAY_MS, START_MS, STEP_MS, LittleGarden, little_garden
from tests.services.questions.conftest import grounded
from traywarden.domain.journal import Kind
from traywarden.domain.moisture import DEFAULT_CALIBRATION
from traywarden.domain.readings import BOOT_IMPORTED, Reading
from traywarden.errors import ShortOfDataError, UsageError
from traywarden.services.journal import Draft, put
from traywarden.services.questions.quality import QualityAnswer, ask_quality
from traywarden.store import garden, probes, readings
from traywarden.store.store import Store

FROM_MS = START_MS + 10 * DAY_MS


def with_readings(folder: Path, later: list[Reading]) -> LittleGarden:
    """The little garden up to FROM_MS, and these readings after."""
    made = little_garden(folder, until_ms=FROM_MS)
    with made.store.write() as tx:
        readings.insert(tx, later)
    return made


def stamps(hours: float) -> list[int]:
    return [FROM_MS + STEP_MS * n for n in range(1, round(hours * 6) + 1)]


def soil(head: tuple[str, int], at_ms: int, temp_c: float, moisture_v: float) -> Reading:
    sequence = 100_000 + (at_ms - FROM_MS) // STEP_MS
    return Reading(*head, 1, sequence, at_ms, at_ms + 2_000, soil_temp_c=temp_c, moisture_v=moisture_v)


def air(probe: str, at_ms: int, temp_c: float) -> Reading:
    sequence = 100_000 + (at_ms - FROM_MS) // STEP_MS
    return Reading(probe, 0, 1, sequence, at_ms, at_ms + 2_000, air_temp_c=temp_c, rh_pct=70.0)


def asked(made: LittleGarden, tray: str = "", days: float = 30) -> QualityAnswer:
    try:
        with grounded(made.store) as ground:
            return ask_quality(ground, tray, days)
    finally:
        made.store.close()


def test_a_sound_garden_has_no_trouble_and_says_what_it_could_not_judge(little: LittleGarden) -> None:
    with grounded(little.store) as ground:
        answer = ask_quality(ground)
    assert answer.troubles == ()
    assert {head.head for head in answer.heads} == {"frame/0", "frame/1", "bench/0", "bench/1", "bench/2"}
    for head in answer.heads:
        assert head.good == head.readings > 1900
    (frame,) = (head for head in answer.heads if head.head == "frame/0")
    assert frame.not_judged == (
        "whether it is like the season: less than ten days of it are known in this place",
        "whether the sun shines on it: under cover the air itself is warmed",
        "whether it is like its neighbours: no other air sensor hangs in Cold frame",
    )
    assert any("like the season" in reason for head in answer.heads for reason in head.not_judged)


def test_a_head_out_of_its_mix_is_told_with_numbers_and_the_way_back(tmp_path: Path) -> None:
    dry = [soil(("frame", 1), at_ms, 12.0, 2.58) for at_ms in stamps(5)]
    (found,) = asked(with_readings(tmp_path, dry), "tomatoes").troubles
    assert (found.fault, found.code, found.lasting, found.tray) == (
        "pulled out of the mix",
        4,
        True,
        "tomatoes",
    )
    assert "to 0.01 m³/m³" in found.reason
    assert found.start.timestamp() * 1000 == FROM_MS + STEP_MS
    assert found.do.startswith("Push the head back")


def test_a_tray_that_stands_in_water_is_told(tmp_path: Path) -> None:
    wet = [soil(("frame", 1), at_ms, 12.0, 0.8) for at_ms in stamps(9)]
    (found,) = asked(with_readings(tmp_path, wet), "tomatoes").troubles
    assert found.fault == "in water"
    assert "container capacity of 0.55" in found.reason


def test_a_new_calibration_is_no_trouble_though_moisture_steps_at_it(tmp_path: Path) -> None:
    """The same volts of a drained mix read 0.15 m³/m³ instead of 0.55 by the head's second calibration."""
    made = little_garden(tmp_path)
    (wet_v, wet_m3_m3), dry = DEFAULT_CALIBRATION.points
    for at_ms, top in ((START_MS, wet_m3_m3), (START_MS + 9 * DAY_MS + 14 * 3_600_000, 0.15)):
        with made.store.write() as tx:
            head_id = next(h.head_id for h in probes.heads(tx) if h.label == "frame/1")
            points = {"points": [[wet_v, top], list(dry)]}
            put(tx, Draft(Kind.CALIBRATED, at_ms, head_id=head_id, data=points), at_ms)
    assert asked(made, "tomatoes").troubles == ()


def test_a_head_in_the_air_before_a_new_calibration_is_told_and_not_lasting(tmp_path: Path) -> None:
    dry = [soil(("frame", 1), at_ms, 12.0, 2.58) for at_ms in stamps(5)]
    made = with_readings(tmp_path, [*dry, *(soil(("frame", 1), a, 12.0, 1.6) for a in stamps(20)[30:])])
    with made.store.write() as tx:
        head_id = next(h.head_id for h in probes.heads(tx) if h.label == "frame/1")
        for at_ms in (START_MS, FROM_MS + 5 * 3_600_000 + STEP_MS // 2):
            points = {"points": [list(point) for point in DEFAULT_CALIBRATION.points]}
            put(tx, Draft(Kind.CALIBRATED, at_ms, head_id=head_id, data=points), at_ms)
    (found,) = (t for t in asked(made, "tomatoes").troubles if t.fault == "pulled out of the mix")
    assert not found.lasting
    assert found.start.timestamp() * 1000 == FROM_MS + STEP_MS


def test_swapped_heads_are_told_of_both_even_when_only_one_tray_is_asked_about(tmp_path: Path) -> None:
    """Ten days in, lettuce is freshly watered and tomatoes a day later; peppers are drier."""
    volts = {"lettuce": 1.62, "peppers": 2.10}
    later = []
    for at_ms in stamps(24):
        early = at_ms < FROM_MS + 12 * 3_600_000
        one, two = ("lettuce", "peppers") if early else ("peppers", "lettuce")
        later += [
            soil(("bench", 1), at_ms, 10.0, volts[one]),
            soil(("bench", 2), at_ms, 10.0, volts[two]),
        ]
    found = [t for t in asked(with_readings(tmp_path, later), "peppers").troubles if "swapped" in t.fault]
    assert [(t.head, t.fault) for t in found] == [("bench/2", "swapped with another head")]
    assert "where bench/1 was" in found[0].reason


def test_soil_far_from_the_other_trays_of_its_place_is_told_with_how_many_it_was_held_against(
    tmp_path: Path,
) -> None:
    later = []
    for at_ms in stamps(10):
        later += [
            soil(("bench", 1), at_ms, 10.0, 1.6),
            soil(("bench", 2), at_ms, 24.0, 1.9),
        ]
    answer = asked(with_readings(tmp_path, later))
    found = [t for t in answer.troubles if "neighbours" in t.fault]
    assert {t.head for t in found} == {"bench/1", "bench/2"}
    assert len(msgspec.to_builtins(answer)["troubles"]) == len(answer.troubles)  # as --json prints it
    assert all("1 other head in Open bench; which of the two is wrong" in t.reason for t in found)


def test_flags_come_back_as_troubles_worst_first(tmp_path: Path) -> None:
    soil_c = [14.0] * 3 + [-127.0] + [14.0] * 8
    later = [soil(("frame", 1), at_ms, now_c, 1.9) for at_ms, now_c in zip(stamps(2), soil_c, strict=True)]
    later += [air("bench", at_ms, 11.0) for at_ms in stamps(8)]
    answer = asked(with_readings(tmp_path, later))
    assert [t.fault for t in answer.troubles if t.code == 4] == ["disconnected"]
    assert "stuck" in [t.fault for t in answer.troubles if t.code == 3]
    assert [t.code for t in answer.troubles] == sorted((t.code for t in answer.troubles), reverse=True)
    (head,) = (h for h in answer.heads if h.head == "frame/1")
    assert (head.bad, head.good) == (1, head.readings - 1)


def test_an_empty_garden_or_span_gets_one_sentence(tmp_path: Path, little: LittleGarden) -> None:
    made = little_garden(tmp_path, with_readings=False)
    with pytest.raises(ShortOfDataError, match="There are no readings yet"):
        asked(made)
    with grounded(little.store) as ground, pytest.raises(UsageError, match="A span of 0 days"):
        ask_quality(ground, days=0)


@pytest.mark.parametrize(("sunny_days", "found"), [(2, []), (4, ["warmed by direct sun"])])
def test_sun_is_counted_by_the_days_of_the_garden_wherever_it_lies(
    tmp_path: Path, sunny_days: int, found: list[str]
) -> None:
    """In Auckland the day that UTC counts ends at noon; two sunny days lie in three of those."""
    zone = ZoneInfo("Pacific/Auckland")
    start_ms = round(datetime(2026, 6, 1, tzinfo=zone).timestamp() * 1000)
    hours = np.arange(0, 10 * 24, 0.5)
    times_ms = np.asarray(start_ms + hours * 3_600_000, np.int64)
    now_ms = int(times_ms[-1])
    clock = hours % 24
    open_c = 10 - 5 * np.cos((clock - 3) / 24 * 2 * np.pi)
    sun_c = np.where((hours >= 48) & (hours < 48 + 24 * sunny_days) & (np.abs(clock - 12) <= 3), 7.0, 0.0)
    store = Store.open(f"sqlite:///{tmp_path / 'auckland.sqlite3'}")
    with store.write() as tx:
        garden.set_garden(tx, "South", "Pacific/Auckland", now_ms=start_ms)
        garden.add_tray(tx, "A1", 40, 3.0)
        heads = probes.ensure_heads(tx, [("one", 0), ("two", 0)], start_ms)
        for (probe, _), values in zip(heads, (open_c + sun_c, open_c), strict=True):
            place = garden.add_place(tx, f"Bench {probe}", "open bench")
            head_id = heads[probe, 0]
            put(tx, Draft(Kind.HEAD_PLACED, start_ms, place_id=place.place_id, head_id=head_id), start_ms)
            readings.insert_columns(tx, probe, 0, BOOT_IMPORTED, times_ms, now_ms, {"air_temp_c": values})
    with grounded(store, now_ms) as ground:
        faults = [t.fault for t in ask_quality(ground).troubles if "sun" in t.fault]
    store.close()
    assert faults == found


@pytest.mark.parametrize(("moved", "found"), [(False, ["hardly moves", "unlike the season"]), (True, [])])
def test_a_tray_carried_from_the_bench_to_the_house_is_held_against_nothing_of_the_bench(
    tmp_path: Path, moved: bool, found: list[str]
) -> None:
    """25 days at 8 °C, ± 5, then at 26 °C, ± 0.5: odd where it stands still, and no wonder in another place.

    The tray of the house beside it was at 26 °C all the time: 18 °C from the bench, where it never stood.
    """
    zone = ZoneInfo("Europe/Lisbon")
    start_ms = round(datetime(2026, 3, 1, tzinfo=zone).timestamp() * 1000)
    hours = np.arange(0, 29 * 24, 0.5)
    times_ms = np.asarray(start_ms + hours * 3_600_000, np.int64)
    now_ms, carried_ms = int(times_ms[-1]), start_ms + 25 * DAY_MS
    swing_c = np.sin(hours / 24 * 2 * np.pi)
    house_c = 26.0 + 0.5 * swing_c
    soil_c = {"A1": np.where(times_ms < carried_ms, 8.0 + 5.0 * swing_c, house_c), "B1": house_c}
    store = Store.open(f"sqlite:///{tmp_path / 'carried.sqlite3'}")
    with store.write() as tx:
        garden.set_garden(tx, "Carried", "Europe/Lisbon", now_ms=start_ms)
        bench = garden.add_place(tx, "Bench", "open bench").place_id
        house = garden.add_place(tx, "House", "greenhouse").place_id
        stays = {"A1": [(bench, start_ms)], "B1": [(house, start_ms)]}
        if moved:
            stays["A1"].append((house, carried_ms))
        heads = probes.ensure_heads(tx, [(name, 1) for name in stays], start_ms)
        for name, places in stays.items():
            tray_id = garden.add_tray(tx, name, 40, 3.0).tray_id
            values = {"soil_temp_c": soil_c[name]}
            readings.insert_columns(tx, name, 1, BOOT_IMPORTED, times_ms, now_ms, values)
            head_id = heads[name, 1]
            put(tx, Draft(Kind.HEAD_PLACED, start_ms, head_id=head_id, tray_id=tray_id), start_ms)
            for place_id, at_ms in places:
                put(tx, Draft(Kind.MOVED, at_ms, tray_id=tray_id, place_id=place_id), at_ms)
    with grounded(store, now_ms) as ground:
        answer = ask_quality(ground, "A1", days=12)
    store.close()
    assert sorted({t.fault for t in answer.troubles} - {"fast change"}) == found  # carried within a minute
    assert any("in this place" in reason for reason in answer.heads[0].not_judged) == moved


HOURS = np.arange(0, 30 * 24, 0.5)
START = datetime(2026, 4, 1, tzinfo=ZoneInfo("Europe/Lisbon"))


def hung(
    folder: Path, sensors: dict[str, tuple[str, np.ndarray, np.ndarray]], days: float, **settings: str
) -> QualityAnswer:
    """Air sensors by name: kind of the place each hangs in, temperature and humidity over thirty days.

    Sensors of one kind of place hang in one place.
    """
    start_ms = round(START.timestamp() * 1000)
    times_ms = np.asarray(start_ms + HOURS * 3_600_000, np.int64)
    now_ms = int(times_ms[-1])
    store = Store.open(f"sqlite:///{folder / 'air.sqlite3'}")
    with store.write() as tx:
        garden.set_garden(tx, "Air", "Europe/Lisbon", now_ms=start_ms)
        garden.add_tray(tx, "A1", 40, 3.0)
        kinds = dict.fromkeys(kind for kind, _, _ in sensors.values())
        places = {kind: garden.add_place(tx, kind, kind) for kind in kinds}
        heads = probes.ensure_heads(tx, [(name, 0) for name in sensors], start_ms)
        for name, (kind, temp_c, rh_pct) in sensors.items():
            place_id, head_id = places[kind].place_id, heads[name, 0]
            put(tx, Draft(Kind.HEAD_PLACED, start_ms, place_id=place_id, head_id=head_id), start_ms)
            values = {"air_temp_c": temp_c, "rh_pct": rh_pct}
            readings.insert_columns(tx, name, 0, BOOT_IMPORTED, times_ms, now_ms, values)
    with grounded(store, now_ms, **settings) as ground:
        answer = ask_quality(ground, days=days)
    store.close()
    return answer


def told(answer: QualityAnswer) -> dict[tuple[str, str, str], str]:
    return {(t.head, t.measured, t.fault): t.reason for t in answer.troubles if t.fault != "stuck"}


def air_c(mean_c: float = 14.0, swing_c: float = 5.0) -> np.ndarray:
    return mean_c + swing_c * np.sin((HOURS - 9) / 24 * 2 * np.pi)


def humid_pct(mean_pct: float = 70.0, swing_pct: float = 15.0) -> np.ndarray:
    return mean_pct - swing_pct * np.sin((HOURS - 9) / 24 * 2 * np.pi)


NOW_AND_THEN = HOURS >= 27 * 24


def test_air_that_is_far_from_the_other_open_places_is_told_and_frame_air_is_not(tmp_path: Path) -> None:
    """A frame is 15 °C warmer than the open by its nature; the lone sensor there has no neighbour."""
    off = np.where(NOW_AND_THEN, 9.0, 0.0)
    answer = hung(
        tmp_path,
        {
            "bench": ("open bench", air_c(), humid_pct()),
            "table": ("open bench", air_c(14.5), humid_pct()),
            "ground": ("open ground", air_c() + off, humid_pct()),
            "shade": ("dappled shade", air_c(13.0, 4.0), humid_pct()),
            "frame": ("cold frame", air_c(29.0), humid_pct()),
        },
        12,
    )
    found = told(answer)
    assert set(found) == {("ground/0", "air_temp_c", "unlike its neighbours")}
    (reason,) = found.values()
    assert reason.endswith("is far from the median of the 3 other air sensors in the open")
    (frame,) = (head for head in answer.heads if head.head == "frame/0")
    assert "whether it is like its neighbours: no other air sensor hangs in cold frame" in frame.not_judged


def test_two_sensors_of_one_frame_are_held_against_each_other_in_heat_and_humidity(tmp_path: Path) -> None:
    answer = hung(
        tmp_path,
        {
            "left": ("cold frame", air_c(), humid_pct()),
            "right": ("cold frame", air_c(), humid_pct() - np.where(NOW_AND_THEN, 40.0, 0.0)),
        },
        12,
    )
    found = told(answer)
    assert set(found) == {(f"{name}/0", "rh_pct", "unlike its neighbours") for name in ("left", "right")}
    reason = found["left/0", "rh_pct", "unlike its neighbours"]
    assert "% is far from the 1 other air sensor in cold frame; which of the two is wrong" in reason


def test_air_unlike_its_month_and_a_sensor_that_hardly_moves_are_told(tmp_path: Path) -> None:
    still = np.where(NOW_AND_THEN, 14.0 + 0.02 * air_c(), air_c())
    hot = np.where(NOW_AND_THEN, 25.0, 0.0) + air_c()
    mute = np.where(NOW_AND_THEN, 60.0 + 0.02 * humid_pct(), humid_pct())
    fog = np.where(NOW_AND_THEN, 99.0, humid_pct())
    found = told(
        hung(
            tmp_path,
            {
                "still": ("cold frame", still, humid_pct()),
                "hot": ("greenhouse", hot, mute),
                "fog": ("open bench", air_c(), fog),
            },
            12,
        )
    )
    assert set(found) == {
        ("still/0", "air_temp_c", "hardly moves"),
        ("hot/0", "air_temp_c", "unlike the season"),
        ("hot/0", "rh_pct", "hardly moves"),
    }
    assert found["hot/0", "air_temp_c", "unlike the season"].endswith(
        "°C is beyond what it showed in this month before"
    )


def test_reasons_are_in_the_degrees_shown(tmp_path: Path) -> None:
    hot = np.where(NOW_AND_THEN, 25.0, 0.0) + air_c()
    found = told(hung(tmp_path, {"hot": ("greenhouse", hot, humid_pct())}, 12, display__temperature="F"))
    assert "°F is beyond" in found["hot/0", "air_temp_c", "unlike the season"]


def test_a_sensor_in_the_sun_is_one_trouble_and_not_also_unlike_its_neighbours(tmp_path: Path) -> None:
    noon = np.where(NOW_AND_THEN & (np.abs(HOURS % 24 - 13) <= 2), 9.0, 0.0)
    found = told(
        hung(
            tmp_path,
            {
                "sun": ("open bench", air_c() + noon, humid_pct()),
                "screen": ("open ground", air_c(), humid_pct()),
                "shade": ("dappled shade", air_c(), humid_pct()),
            },
            12,
        )
    )
    assert set(found) == {("sun/0", "air_temp_c", "warmed by direct sun")}
