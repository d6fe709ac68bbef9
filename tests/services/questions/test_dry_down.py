"""The time constants put into the little garden come out again, by stretch and by mix."""

import msgspec
import pytest

from tests.services.little_garden import CAPACITY, DRY_LINE, RESIDUAL, TAU_DAYS, LittleGarden
from tests.services.questions.conftest import grounded
from traywarden.errors import ShortOfDataError, UnknownNameError, UsageError
from traywarden.services.questions.dry_down import ask_dry_down


def test_time_constant_and_rate_of_every_long_stretch_are_those_put_in(little: LittleGarden) -> None:
    """Moisture is exactly exponential, so the fit must return τ; 2 % allows for the ADC-free rounding of the
    residual where a stretch is short. The rate at mid-range follows from the printed model: (θ − θw)/τ."""
    with grounded(little.store) as ground:
        answer = ask_dry_down(ground)
    long = [s for s in answer.stretches if s.tau_days and s.days > 1.5 * TAU_DAYS[s.tray]]
    assert {s.tray for s in long} >= {"tomatoes", "lettuce"}
    for stretch in long:
        tau = TAU_DAYS[stretch.tray]
        assert stretch.tau_days == pytest.approx(tau, rel=0.02)
        assert stretch.residual_m3_m3 == pytest.approx(RESIDUAL, abs=0.01)
        middle = (CAPACITY + DRY_LINE) / 2
        assert stretch.rate_pct_per_day == pytest.approx((middle - RESIDUAL) / tau / CAPACITY * 100, rel=0.03)
        assert stretch.half_life_days == pytest.approx(tau * 0.6931, rel=0.02)


def test_each_stretch_carries_how_thirsty_the_air_of_its_place_was(little: LittleGarden) -> None:
    with grounded(little.store) as ground:
        answer = ask_dry_down(ground)
    by_place = {s.place: s.mean_vpd_kpa for s in answer.stretches if s.days > 2}
    assert by_place["Cold frame"] is not None
    assert by_place["Open bench"] is not None
    assert by_place["Cold frame"] > by_place["Open bench"] > 0  # the same humidity, four degrees warmer


def test_by_mix_two_trays_give_a_median_and_say_why_there_is_no_interval(little: LittleGarden) -> None:
    with grounded(little.store) as ground:
        answer = ask_dry_down(ground)
    bark = next(m for m in answer.mixes if m.mix == "Bark mix")
    assert (bark.trays, bark.moisture_calibrated) == (2, False)
    assert 4.0 - 0.2 <= (bark.tau_days.median or 0) <= 5.0 + 0.2
    assert bark.tau_days.low is None
    assert "too few trays" in bark.reason
    assert any("not calibrated in your mix" in remark for remark in answer.remarks)


def test_a_stretch_of_a_few_hours_is_too_short_to_say(little: LittleGarden) -> None:
    with grounded(little.store) as ground:
        answer = ask_dry_down(ground, tray="tomatoes")
    short = [s for s in answer.stretches if s.tau_days is None]
    assert short
    assert all(s.reason.startswith("too short to say") for s in short)


def test_one_mix_or_one_tray_can_be_asked_for(little: LittleGarden) -> None:
    with grounded(little.store) as ground:
        assert {m.mix for m in ask_dry_down(ground, mix="peat mix").mixes} == {"Peat mix"}
        assert {s.tray for s in ask_dry_down(ground, tray="peppers").stretches} == {"peppers"}
        with pytest.raises(UnknownNameError, match="Peat mix"):
            ask_dry_down(ground, mix="peet mix")
        with pytest.raises(UsageError, match="--days"):
            ask_dry_down(ground, days=0)


def test_before_the_first_reading_one_sentence_says_how_to_begin(empty: LittleGarden) -> None:
    with grounded(empty.store) as ground, pytest.raises(ShortOfDataError, match="There are no readings yet"):
        ask_dry_down(ground)


def test_the_answer_is_json_able(little: LittleGarden) -> None:
    with grounded(little.store) as ground:
        built = msgspec.to_builtins(ask_dry_down(ground))
    assert built["mixes"][0]["tau_days"]["n"] >= 1
