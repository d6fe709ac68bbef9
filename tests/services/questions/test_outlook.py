"""The outlook of a garden's trays agrees with `today`, knows nothing of the future, and says why not."""

from collections.abc import Iterator
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

import msgspec
import numpy as np
import pytest

from tests.services.little_garden import DAY_MS as LITTLE_DAY_MS
from tests.services.little_garden import NOW_MS as LITTLE_NOW_MS
from tests.services.little_garden import LittleGarden, little_garden
from tests.services.questions.conftest import grounded
from tests.services.test_wettings import DAY_MS, HOUR_MS, NOW_MS, START_MS, OneTray, drying
from traywarden.domain.dry_outlook import AirAhead
from traywarden.domain.garden import Place
from traywarden.domain.journal import Kind
from traywarden.errors import ShortOfDataError, UnknownNameError
from traywarden.services.place_demand import PlaceDemand
from traywarden.services.questions.backtest import ask_backtest
from traywarden.services.questions.ground import Ground
from traywarden.services.questions.outlook import DRIES, DRY, NO_OUTLOOK, TrayOutlook, ask_outlook
from traywarden.services.questions.outlook_picture import outlook_picture
from traywarden.services.questions.today import ask_today
from traywarden.store import outside
from traywarden.store.store import Store


@pytest.fixture
def tray(tmp_path: Path) -> Iterator[OneTray]:
    store = Store.open(f"sqlite:///{tmp_path / 'one.sqlite3'}")
    yield OneTray(store)
    store.close()


def asked(tray: OneTray, now_ms: int = NOW_MS) -> TrayOutlook:
    with grounded(tray.store, now_ms) as ground:
        [found] = ask_outlook(ground, "A").trays
    return found


@pytest.mark.parametrize("back_d", [0, 1, 3])
def test_today_and_outlook_say_the_same_of_every_tray(little: LittleGarden, back_d: int) -> None:
    with grounded(little.store, LITTLE_NOW_MS - back_d * LITTLE_DAY_MS) as ground:
        today, outlook = ask_today(ground), ask_outlook(ground)
    soon = {s.tray: s for s in today.soon}
    within = {
        t.tray: t for t in outlook.trays if t.state == DRIES and t.in_s is not None and t.in_s <= 86_400
    }
    assert soon.keys() == within.keys()
    for name, told in within.items():
        assert told.in_s == pytest.approx(soon[name].in_s, abs=0.1)
        assert told.by is not None
        assert abs((told.by - soon[name].by).total_seconds()) < 1
    dry = {t.tray for t in outlook.trays if t.state == DRY}
    assert dry == {n.tray for n in today.needs if n.rule == "dry" and not n.easing}


def test_today_and_outlook_say_the_same_with_a_forecast_too(tmp_path: Path) -> None:
    """Sixty hours of heat: the peppers are dry sooner than without them, and both say the same."""
    made, now_ms = little_garden(tmp_path), LITTLE_NOW_MS - 2 * LITTLE_DAY_MS
    told = []
    for hot in (False, True):
        if hot:
            time_ms = now_ms // 3_600_000 * 3_600_000 + 3_600_000 * np.arange(60, dtype=np.int64)
            values = {"air_temp_c": np.full(60, 34.0), "rh_pct": np.full(60, 20.0)}
            with made.store.write() as tx:
                outside.put_forecast(tx, "invented", now_ms, time_ms, values)
        with grounded(made.store, now_ms) as ground:
            soon = {s.tray: s.in_s for s in ask_today(ground).soon}
            every = {t.tray: t for t in ask_outlook(ground).trays}
        assert soon
        for name, in_s in soon.items():
            assert every[name].in_s == pytest.approx(in_s, abs=0.1)
        assert all(("“invented”" in t.rests_on) == hot for t in every.values() if t.state == DRIES)
        told.append(every)
    made.store.close()
    before, after = (told[k]["peppers"].in_s for k in (0, 1))
    assert before is not None
    assert after is not None
    assert after < before


def test_the_first_to_be_dry_comes_first_and_every_time_lies_in_its_interval(little: LittleGarden) -> None:
    with grounded(little.store, LITTLE_NOW_MS - 2 * LITTLE_DAY_MS) as ground:
        answer = ask_outlook(ground)
    times = [t.in_s for t in answer.trays if t.in_s is not None]
    assert len(times) == 3
    assert times == sorted(times)
    for found in answer.trays:
        assert found.low_s is not None and found.in_s is not None and found.high_s is not None  # noqa: PT018
        assert found.low_s < found.in_s < found.high_s
        assert "earlier dry-down" in found.rests_on
        assert "dry-downs of this garden" in found.rests_on
        assert found.measured == ()


def test_an_outlook_of_the_past_does_not_know_what_came_after(tmp_path: Path) -> None:
    """A garden asked as of four days ago answers as one whose readings end there."""
    now_ms = LITTLE_NOW_MS - 4 * LITTLE_DAY_MS
    (tmp_path / "whole").mkdir()
    (tmp_path / "short").mkdir()
    whole, short = little_garden(tmp_path / "whole"), little_garden(tmp_path / "short", until_ms=now_ms)
    answers = []
    for made in (whole, short):
        with grounded(made.store, now_ms) as ground:
            answers.append(ask_outlook(ground))
        made.store.close()
    assert answers[0] == answers[1]
    assert any(t.state == DRIES for t in answers[0].trays)


def test_a_tray_below_its_line_is_dry_now(tray: OneTray) -> None:
    tray.measure(drying)  # after ten days 0.10 + 0.45·exp(−2.5) = 0.137, the line is 0.15
    found = asked(tray)
    assert (found.state, found.in_s, found.low_s) == (DRY, 0.0, 0.0)
    assert found.why == ""


def test_a_tray_watered_an_hour_ago_still_drains_and_half_a_day_later_has_an_outlook(tray: OneTray) -> None:
    tray.measure(lambda days: drying((days - 9.0) % 10.0))
    soon_after = asked(tray, START_MS + 9 * DAY_MS + HOUR_MS // 2)
    assert soon_after.state == NO_OUTLOOK
    assert soon_after.why == "it was watered 30 min ago and the surplus still drains"
    young = asked(tray, START_MS + 9 * DAY_MS + 4 * HOUR_MS)
    assert young.state == DRIES or "it takes half a day, or an earlier dry-down" in young.why
    assert asked(tray, START_MS + 9 * DAY_MS + 20 * HOUR_MS).state == DRIES


def test_a_tray_whose_first_dry_down_is_a_few_hours_old_has_no_outlook_yet(tray: OneTray) -> None:
    tray.measure(drying)
    found = asked(tray, START_MS + 4 * HOUR_MS)
    assert found.state == NO_OUTLOOK
    assert found.why == (
        "it has dried for 4 hours only; it takes half a day, or an earlier dry-down, to see how fast"
    )


def test_frozen_mix_tells_nothing_of_its_moisture(tray: OneTray) -> None:
    tray.measure(drying, lambda days: np.where(days > 9.5, -2.0, 10.0))
    found = asked(tray)
    assert found.state == NO_OUTLOOK
    assert "frozen" in found.why or "nothing usable" in found.why


def test_silence_is_said_with_its_length(tray: OneTray) -> None:
    tray.measure(drying)
    found = asked(tray, NOW_MS + 2 * DAY_MS)
    assert found.state == NO_OUTLOOK
    assert found.why == "nothing usable was measured for 2 days"


def test_a_tray_that_levels_off_above_its_line_does_not_get_there(tray: OneTray) -> None:
    tray.measure(lambda days: 0.30 + 0.25 * np.exp(-days / 0.8))
    found = asked(tray)
    assert found.state == NO_OUTLOOK
    assert found.why == "not within 14 days, if it goes on like this"


def test_what_was_planted_out_needs_no_water_and_a_tray_without_head_or_mix_says_so(tray: OneTray) -> None:
    tray.measure(drying)
    tray.write(Kind.SOWED, START_MS, data={"crop": "tomato", "cells": 40})
    tray.write(Kind.PLANTED_OUT, START_MS + 5 * DAY_MS)
    assert asked(tray, START_MS + 8 * DAY_MS).why.startswith("what grew in it was planted out")
    tray.write(Kind.SOWED, START_MS + 6 * DAY_MS, data={"crop": "tomato", "cells": 40})
    tray.write(Kind.HEAD_TAKEN_OUT, START_MS + 7 * DAY_MS, None, head_id=tray.head_id)
    assert asked(tray, START_MS + 8 * DAY_MS).why.startswith("no head is in it")


def test_without_an_air_sensor_the_soil_stands_in_and_it_is_said(tray: OneTray) -> None:
    tray.measure(drying, lambda days: 15 + 5 * np.sin(days * 2 * np.pi))
    found = asked(tray, START_MS + 5 * DAY_MS)
    assert found.state == DRIES
    assert "the air of its place is not measured, so its soil temperature stands in for it" in found.remark


def test_a_forecast_where_there_is_one_drives_the_outlook_and_is_named(tray: OneTray) -> None:
    """A hot dry forecast brings the line nearer than a cool damp one; a place without one keeps its own."""
    tray.measure(drying)
    now_ms = START_MS + 5 * DAY_MS

    def told(warm_c: float, deficit_kpa: float) -> TrayOutlook:
        hour_s = now_ms / 1000 + 3600.0 * np.arange(120, dtype=np.float64)
        temp_c = warm_c + 5 * np.sin(np.arange(120) / 24 * 2 * np.pi)

        def forecast(ground: Ground, place: Place) -> AirAhead | None:
            assert place.name == "Bench"
            return AirAhead(hour_s, temp_c, np.full(120, deficit_kpa), "the forecast of the met office")

        with grounded(tray.store, now_ms) as ground:
            [found] = ask_outlook(ground, "A", forecast).trays
        return found

    hot, cool, plain = told(32.0, 3.0), told(6.0, 0.05), asked(tray, now_ms)
    assert hot.in_s is not None
    assert plain.in_s is not None
    assert cool.in_s is not None
    assert hot.in_s < 0.8 * plain.in_s
    assert hot.in_s < 0.6 * cool.in_s
    assert "the forecast of the met office" in hot.rests_on
    assert "like the last three" in plain.rests_on


def test_a_tray_that_was_moved_dries_by_the_air_of_where_it_stood(little: LittleGarden) -> None:
    """Tomatoes stand in the frame, peppers on the bench: the frame is 4 °C warmer and pulls harder."""
    with grounded(little.store) as ground:
        demand = PlaceDemand(ground, LITTLE_NOW_MS - 10 * LITTLE_DAY_MS, LITTLE_NOW_MS)
        frame, bench = (demand.of_tray(little.tray_ids[t], ()) for t in ("tomatoes", "peppers"))
    assert frame.said == bench.said == ""
    assert frame.demand[-48:].sum() > 1.1 * bench.demand[-48:].sum()


def test_the_answer_is_json_and_a_picture_of_it_has_a_band_that_ends_at_the_line(
    little: LittleGarden,
) -> None:
    with grounded(little.store, LITTLE_NOW_MS - 2 * LITTLE_DAY_MS) as ground:
        answer = ask_outlook(ground, "lettuce")
    assert msgspec.json.decode(msgspec.json.encode(answer))["trays"][0]["tray"] == "lettuce"
    spec = outlook_picture(answer)
    band, [line] = spec["datasets"]["band"], spec["datasets"]["line"]
    assert band[-1]["moisture"] == pytest.approx(line["moisture"], abs=0.1)
    assert all(row["early"] <= row["late"] for row in band)
    assert spec["datasets"]["measured"]
    none = replace(answer, trays=(replace(answer.trays[0], path=(), why="it is frozen"),))
    with pytest.raises(ShortOfDataError, match="it is frozen"):
        outlook_picture(none)


def test_names_and_empty_gardens_are_refused_in_words(little: LittleGarden, empty: LittleGarden) -> None:
    with grounded(little.store) as ground, pytest.raises(UnknownNameError):
        ask_outlook(ground, "nothing of the kind")
    with grounded(empty.store) as ground, pytest.raises(ShortOfDataError):
        ask_outlook(ground)
    with grounded(empty.store) as ground, pytest.raises(ShortOfDataError):
        ask_backtest(ground)


def test_the_back_test_of_a_garden_counts_its_dry_downs_tray_by_tray(little: LittleGarden) -> None:
    """Three, two and three dry-downs that fell far enough; each case lies in one tray."""
    with grounded(little.store) as ground:
        answer = ask_backtest(ground, days=30)
        alone = ask_backtest(ground, "peppers", days=30)
    by_tray = {t.tray: t.rolling for t in answer.trays}
    assert {name: found.dry_downs for name, found in by_tray.items()} == {
        "tomatoes": 3,
        "lettuce": 2,
        "peppers": 3,
    }
    assert sum(found.cases for found in by_tray.values()) == answer.rolling.cases
    assert answer.rolling.coverage is not None
    assert answer.sentence.startswith("In 8 dry-downs the 80 % interval held")
    assert alone.rolling == by_tray["peppers"]


def test_a_garden_with_no_dry_down_that_is_over_says_there_is_nothing_to_judge(tray: OneTray) -> None:
    tray.measure(lambda days: 0.4 - days * 0.001)
    with grounded(tray.store, NOW_MS) as ground:
        answer = ask_backtest(ground)
    assert answer.rolling.cases == 0
    assert "nothing to judge yet" in answer.sentence


def test_times_are_told_in_the_gardens_own_zone(little: LittleGarden) -> None:
    with grounded(little.store, LITTLE_NOW_MS - 2 * LITTLE_DAY_MS) as ground:
        [found] = ask_outlook(ground, "lettuce").trays
    assert found.by is not None
    assert str(found.by.tzinfo) == "Europe/Lisbon"
    assert found.by > datetime(2026, 3, 14, tzinfo=UTC)
