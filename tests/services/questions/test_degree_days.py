"""Degree-days of a tray or a place: the published formula on the known weather of the little garden."""

from datetime import date, timedelta

import msgspec
import numpy as np
import pytest

from tests.services.little_garden import BENCH_MEAN_C, FRAME_WARMER_C, NOW_MS, SWING_C, LittleGarden
from tests.services.questions.conftest import grounded
from traywarden.errors import ShortOfDataError, UnknownNameError, UsageError
from traywarden.services.questions.degree_days import DegreeDaysAsked, ask_degree_days
from traywarden.store import crops

FIRST = date(2026, 3, 2)


def _baskerville_emin(low_c: float, high_c: float, base_c: float) -> float:
    """Single sine as printed by Baskerville & Emin 1969 (Ecology 50:514), their equation for base between."""
    mean, half = (low_c + high_c) / 2, (high_c - low_c) / 2
    if base_c <= low_c:
        return mean - base_c
    theta = np.arcsin((base_c - mean) / half)
    return float(((mean - base_c) * (np.pi / 2 - theta) + half * np.cos(theta)) / np.pi)


@pytest.mark.parametrize(
    ("tray", "mean_c"), [("tomatoes", BENCH_MEAN_C + FRAME_WARMER_C), ("lettuce", BENCH_MEAN_C)]
)
def test_the_integral_over_a_sine_day_is_the_single_sine_formula(
    little: LittleGarden, tray: str, mean_c: float
) -> None:
    """The little garden's soil is a sine, so readings every 10 min must give Baskerville & Emin's value;
    joining them by straight lines costs under 0.01 of a degree-day."""
    with grounded(little.store) as ground:
        answer = ask_degree_days(ground, DegreeDaysAsked(tray=tray, base_c=12.0))
    true = _baskerville_emin(mean_c - SWING_C, mean_c + SWING_C, 12.0)
    whole = [day for day in answer.days if day.degree_days is not None]
    assert len(whole) == 14
    assert [day.degree_days for day in whole] == pytest.approx([true] * 14, abs=0.01)
    assert answer.total == pytest.approx(14 * true, abs=0.1)


def test_by_default_it_counts_from_sowing_above_the_base_of_what_is_sown(little: LittleGarden) -> None:
    tomato = crops.crop_named("tomato")
    with grounded(little.store) as ground:
        answer = ask_degree_days(ground, DegreeDaysAsked(tray="tomatoes"))
    assert (answer.since, answer.first_day) == ("sowing", FIRST)
    assert (answer.crop, answer.base_c) == (tomato.name, tomato.base_temp_c)
    assert answer.base_source == tomato.base_temp_source


def test_today_is_blank_because_it_is_not_over_and_the_sum_goes_on_without_it(little: LittleGarden) -> None:
    with grounded(little.store) as ground:
        answer = ask_degree_days(ground, DegreeDaysAsked(tray="tomatoes", base_c=5.0))
    last = answer.days[-1]
    assert last.date == FIRST + timedelta(days=14)
    assert last.degree_days is None
    assert last.reason.startswith("the day is not over")
    assert last.sum_degree_days == answer.days[-2].sum_degree_days == answer.total
    assert answer.blank_days == 1


def test_a_day_under_the_coverage_policy_is_blank_with_its_reason(little: LittleGarden) -> None:
    """9 of 24 hours of today are covered: enough for a policy of a third, not for the usual 80 %."""
    with grounded(little.store, coverage__least=0.33) as ground:
        answer = ask_degree_days(ground, DegreeDaysAsked(tray="tomatoes", base_c=5.0))
    assert answer.days[-1].degree_days is not None
    assert answer.days[-1].coverage == pytest.approx(9 / 24, abs=1e-3)


def test_a_place_has_air_and_soil_and_the_frame_gains_its_four_degrees(little: LittleGarden) -> None:
    sums = {}
    with grounded(little.store) as ground:
        for place in ("cold frame", "Open bench"):
            for measured in ("air", "soil"):
                asked = DegreeDaysAsked(
                    place=place, measured=measured, base_c=0.0, start=FIRST, end=FIRST + timedelta(days=9)
                )
                sums[place, measured] = ask_degree_days(ground, asked).total
    assert sums["cold frame", "air"] - sums["Open bench", "air"] == pytest.approx(
        10 * FRAME_WARMER_C, abs=0.05
    )
    assert sums["Open bench", "soil"] == pytest.approx(10 * BENCH_MEAN_C, abs=0.05)


def test_a_cutoff_takes_the_upper_end_of_the_crops_best_range(little: LittleGarden) -> None:
    with grounded(little.store) as ground:
        answer = ask_degree_days(
            ground, DegreeDaysAsked(tray="lettuce", crop="tomato", cutoff="horizontal", method="single sine")
        )
    assert answer.upper_c == crops.crop_named("tomato").opt_high_c
    assert "best range" in answer.upper_source


def test_what_cannot_be_answered_says_what_to_add(little: LittleGarden) -> None:
    with grounded(little.store) as ground:
        with pytest.raises(UsageError, match="one tray or one place"):
            ask_degree_days(ground, DegreeDaysAsked())
        with pytest.raises(UsageError, match="--crop tomato or --base 10"):
            ask_degree_days(ground, DegreeDaysAsked(place="Open bench"))
        with pytest.raises(UnknownNameError, match="Cold frame"):
            ask_degree_days(ground, DegreeDaysAsked(place="Cold fram", base_c=5.0))
        with pytest.raises(UsageError, match="single sine"):
            ask_degree_days(ground, DegreeDaysAsked(tray="lettuce", base_c=5.0, method="single sin"))
        with pytest.raises(UsageError, match="--upper"):
            ask_degree_days(ground, DegreeDaysAsked(tray="lettuce", base_c=5.0, cutoff="vertical"))
        with pytest.raises(UsageError, match="no day up to today"):
            ask_degree_days(ground, DegreeDaysAsked(tray="lettuce", base_c=5.0, start=date(2027, 1, 1)))
        with pytest.raises(ShortOfDataError, match="“Shade”"):
            ask_degree_days(ground, DegreeDaysAsked(place="shade", base_c=5.0))


def test_before_the_first_reading_one_sentence_says_how_to_begin(empty: LittleGarden) -> None:
    with grounded(empty.store) as ground, pytest.raises(ShortOfDataError, match="There are no readings yet"):
        ask_degree_days(ground, DegreeDaysAsked(tray="tomatoes"))


def test_the_answer_is_json_able_and_a_blank_is_null(little: LittleGarden) -> None:
    with grounded(little.store, NOW_MS) as ground:
        built = msgspec.to_builtins(ask_degree_days(ground, DegreeDaysAsked(tray="tomatoes")))
    assert built["days"][0]["date"] == "2026-03-02"
    assert built["days"][-1]["degree_days"] is None
