"""Tonight's low and tomorrow's high by place: from own days, from a forecast, and why not."""

from collections.abc import Iterator

import numpy as np
import pytest

from tests.services.field_garden import FRAME, MOVED_S, PLACE, FieldGarden, field_garden, forecast_into
from tests.services.little_garden import BENCH_MEAN_C, FRAME_WARMER_C, SWING_C, LittleGarden
from tests.services.questions.conftest import grounded
from traywarden.cli.outlook_places import print_places, print_places_backtest
from traywarden.domain.series import FloatArray
from traywarden.domain.units import Display
from traywarden.errors import ShortOfDataError
from traywarden.services.questions.place_backtest import backtest_places
from traywarden.services.questions.place_outlook import PlaceOutlook, PlaceOutlookAnswer, ask_place_outlook
from traywarden.store import outside


@pytest.fixture(scope="module")
def recorded(tmp_path_factory: pytest.TempPathFactory) -> Iterator[FieldGarden]:
    made = field_garden(tmp_path_factory.mktemp("field"))
    yield made
    made.store.close()


def place(answer: PlaceOutlookAnswer, name: str) -> PlaceOutlook:
    return next(each for each in answer.places if each.place == name)


def test_days_all_alike_are_foretold_exactly(little: LittleGarden) -> None:
    with grounded(little.store) as ground:
        answer = ask_place_outlook(ground)
    frame = place(answer, "Cold frame")
    for side in (frame.air, frame.soil):
        assert side.low is not None
        assert side.high is not None
        assert side.low.estimate_c == pytest.approx(BENCH_MEAN_C + FRAME_WARMER_C - SWING_C, abs=0.1)
        assert side.high.estimate_c == pytest.approx(BENCH_MEAN_C + FRAME_WARMER_C + SWING_C, abs=0.1)
        assert len(side.hours) == 48
    assert answer.sentence.startswith("Tonight the coldest may be the soil of “Open bench”: about 5 °C")
    assert "Open bench" in answer.sentence
    # The frame is 4 °C warmer at every hour: no lag, all of the air's change.
    assert "follows the outside air" in frame.air.relation
    assert place(answer, "Shade").sentence == (
        "Shade: no soil temperature was measured here in the last 120 days."
    )


def test_nothing_measured_is_said_in_one_sentence(empty: LittleGarden) -> None:
    with grounded(empty.store) as ground, pytest.raises(ShortOfDataError, match="There are no readings yet"):
        ask_place_outlook(ground)


def test_a_place_gone_silent_has_no_outlook(little: LittleGarden) -> None:
    with grounded(little.store) as ground:
        later = type(ground)(
            ground.tx,
            ground.garden,
            ground.settings,
            ground.now_ms + 10 * 3_600_000,
            ground.facts,
            ground.places,
            ground.trays,
            ground.mixes,
            ground.lots,
        )
        answer = ask_place_outlook(later)
    assert "was last measured Mon 16 Mar" in place(answer, "Cold frame").air.reason


@pytest.mark.data
def test_a_recorded_field_is_foretold_from_its_own_days_with_an_interval_of_its_own(
    recorded: FieldGarden,
) -> None:
    with grounded(recorded.store, recorded.at_ms("07-20", 18)) as ground:
        answer = ask_place_outlook(ground)
    field = place(answer, PLACE)
    for side in (field.air, field.soil):
        for found in (side.low, side.high):
            assert found is not None
            assert found.calibrated
            assert found.held is not None
            assert 0.7 <= found.held <= 0.9
            assert found.low_c < found.estimate_c < found.high_c
    assert place(answer, FRAME).soil.reason == "no soil temperature was measured here in the last 120 days"
    assert answer.forecast == ""


@pytest.mark.data
def test_the_backtest_on_the_gardens_own_record_prints_true_coverage(
    recorded: FieldGarden, capsys: pytest.CaptureFixture[str]
) -> None:
    with grounded(recorded.store, recorded.at_ms("08-30", 20)) as ground:
        rows = backtest_places(ground)
    assert [(row.place, row.measured, row.what) for row in rows] == [
        (PLACE, measured, what)
        for measured in ("air", "soil")
        for what in ("tonight's low", "tomorrow's high")
    ]
    for row in rows:
        assert row.judged > 140
        assert row.held is not None
        assert 0.75 <= row.held <= 0.87
        assert row.ratio is not None
        assert row.ratio < (0.95 if row.what == "tonight's low" else 1.02)
    print_places_backtest(rows, Display())
    assert "tomorrow's high" in capsys.readouterr().out


def lasting_errors(random: np.random.Generator, hours: int) -> FloatArray:
    """Of 1.5 °C, each lasting for half a day."""
    errors = np.empty(hours)
    now = random.normal(0, 1.5)
    for hour in range(hours):
        now = errors[hour] = now * np.exp(-1 / 12) + random.normal(0, 1.5 * np.sqrt(1 - np.exp(-2 / 12)))
    return errors


@pytest.mark.data
def test_a_forecast_drives_the_outlook_and_is_nearer_than_own_days(
    recorded: FieldGarden, capsys: pytest.CaptureFixture[str]
) -> None:
    """Invented forecasts: what came, off by 1.5 °C; evenings of June, each asked before it was known."""
    random = np.random.default_rng(6)
    errors: dict[str, list[float]] = {"own": [], "forecast": []}
    inside = []
    dates = [f"06-{day:02}" for day in range(10, 24)]
    alone = {}
    for date in dates:
        with grounded(recorded.store, recorded.at_ms(date, 18)) as ground:
            alone[date] = place(ask_place_outlook(ground), PLACE).soil
    for date in dates:
        forecast_into(recorded, date, 18, 72, lasting_errors(random, 72))
        with grounded(recorded.store, recorded.at_ms(date, 18)) as ground:
            answer = ask_place_outlook(ground)
        own, driven = alone[date], place(answer, PLACE).soil
        assert answer.forecast.startswith("forecast “invented”")
        assert driven.basis.startswith("forecast through")
        soil = recorded.field.soil_c["4 cm"]
        start = recorded.field.hours(date, date).start
        for name, of, first, end in (("low", np.nanmin, 18, 33), ("high", np.nanmax, 24, 48)):
            truth = float(of(soil[start + first : start + end]))
            for kind, side in (("own", own), ("forecast", driven)):
                found = getattr(side, name)
                errors[kind].append(abs(found.estimate_c - truth))
                if kind == "forecast":
                    inside.append(found.low_c <= truth <= found.high_c)
    assert np.mean(errors["forecast"]) < 0.7 * np.mean(errors["own"])
    assert 0.7 <= np.mean(inside) <= 0.95
    # By now past forecasts could be judged: the interval is their errors'.
    assert driven.low is not None
    assert driven.low.calibrated
    print_places(answer, Display())
    assert "through what each place makes of the open air" in capsys.readouterr().out
    assert "follows the outside air" in driven.relation


@pytest.mark.data
def test_a_forecast_that_begins_in_the_morning_leaves_the_low_to_own_days_and_tells_the_high(
    recorded: FieldGarden,
) -> None:
    start_ms, issued_ms = recorded.at_ms("08-21", 8), recorded.at_ms("08-20", 18)
    first = round((start_ms / 1000 - MOVED_S - recorded.field.time_s[0]) / 3600)
    with grounded(recorded.store, issued_ms) as ground:
        alone = place(ask_place_outlook(ground), PLACE).air
    with recorded.store.write() as tx:
        times_ms = np.asarray(start_ms + 3_600_000 * np.arange(24), np.int64)
        air = {"air_temp_c": recorded.field.air_c[first : first + 24] + 9.0}
        outside.put_forecast(tx, "morning", issued_ms, times_ms, air)
    with grounded(recorded.store, issued_ms) as ground:
        answer = ask_place_outlook(ground)
    told = place(answer, PLACE).air
    assert "until then the open air is taken to be like its own last days" in answer.forecast
    assert told.low == alone.low
    assert told.high is not None
    assert alone.high is not None
    assert told.high.basis.startswith("forecast")
    assert told.high.estimate_c > alone.high.estimate_c + 3
    assert len(told.hours) == 48


@pytest.mark.data
def test_a_forecast_that_ends_in_the_night_leaves_the_high_to_own_days_and_an_old_one_is_history(
    recorded: FieldGarden,
) -> None:
    forecast_into(recorded, "08-10", 18, 20, np.zeros(20))
    with grounded(recorded.store, recorded.at_ms("08-10", 18)) as ground:
        soil = place(ask_place_outlook(ground), PLACE).soil
    assert soil.low is not None
    assert soil.high is not None
    assert soil.low.basis.startswith("forecast")
    assert soil.high.basis == "own recent days"
    assert len(soil.hours) == 48
    with grounded(recorded.store, recorded.at_ms("08-12", 18)) as ground:
        answer = ask_place_outlook(ground)
    assert "it is history" in answer.forecast
    low = place(answer, PLACE).soil.low
    assert low is not None
    assert low.basis == "own recent days"
