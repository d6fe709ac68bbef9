"""Causes of lateness, each from a record made so that one of them holds."""

import numpy as np
import pytest

from traywarden.domain.development import curve_for
from traywarden.domain.lateness import Cause, SeedLot, Verdict, causes, likeliest, longest_run_h
from traywarden.domain.progress import progress_since
from traywarden.domain.series import FloatArray
from traywarden.domain.units import Display
from traywarden.store.crops import load_crops

HOURS = 10 * 24
MOIST = np.full(HOURS, 0.40)
GOOD = SeedLot("2026", 0.9, 0.75, "the US standard")


def judged(
    crop: str = "tomato",
    temp_c: FloatArray | None = None,
    moisture: FloatArray | None = None,
    lot: SeedLot | None = GOOD,
    *,
    calibrated: bool = True,
    display: Display = Display(),  # noqa: B008
) -> dict[str, Cause]:
    temps = np.full(HOURS, 20.0) if temp_c is None else temp_c
    curve = curve_for(load_crops()[crop])
    hour_s = 3600.0 * np.arange(HOURS, dtype=np.float64)
    made = progress_since(hour_s, temps, 0.0, HOURS * 3600.0, curve, least_coverage=0.5, longest_gap_s=7200.0)
    found = causes(
        crop,
        temps,
        made.slow,
        MOIST if moisture is None else moisture,
        lot,
        low_c=load_crops()[crop].min_c,
        high_c=load_crops()[crop].max_c,
        dry_line_m3_m3=0.28,
        capacity_m3_m3=0.55,
        calibrated=calibrated,
        display=display,
    )
    assert [cause.name for cause in found] == ["cold", "heat", "dried out", "drowned", "old or weak seed"]
    return {cause.name: cause for cause in found}


def test_with_nothing_amiss_nothing_is_blamed() -> None:
    assert {cause.verdict for cause in judged().values()} == {Verdict.NO}
    assert likeliest(list(judged().values())) == []


def test_cold_is_told_in_hours_and_degree_hours_below_the_minimum() -> None:
    temps = np.full(HOURS, 20.0)
    temps[:100] = 7.0
    cold = judged(temp_c=temps)["cold"]
    assert cold.verdict is Verdict.LIKELY
    assert "100 of 240 h below its minimum of 10.0 °C, together 300 °C·hours" in cold.says


def test_a_day_of_cold_water_makes_cold_likely_for_warm_season_seed_alone() -> None:
    temps = np.full(HOURS, 22.0)
    temps[:24] = 8.0
    assert judged("pepper", temps)["cold"].verdict is Verdict.LIKELY
    assert "24 h below 10 °C" in judged("pepper", temps)["cold"].says
    assert judged("cabbage", temps)["cold"].verdict is Verdict.NO


def test_reasons_speak_fahrenheit_where_it_is_set() -> None:
    temps = np.full(HOURS, 22.0)
    temps[:24], temps[24:60] = 8.0, 40.0
    told = judged("pepper", temps, display=Display("F"))
    assert "24 of 240 h below its minimum of 60.0 °F, together 326 °F·hours" in told["cold"].says
    assert "24 h below 50 °F, which hurts" in told["cold"].says
    assert "36 h above its maximum of 95.0 °F; the warmest hour had 104.0 °F" in told["heat"].says


@pytest.mark.parametrize(("crop", "verdict"), [("lettuce", Verdict.LIKELY), ("tomato", Verdict.NO)])
def test_seed_that_heat_puts_to_sleep_is_judged_at_its_own_limit(crop: str, verdict: Verdict) -> None:
    temps = np.full(HOURS, 20.0)
    temps[:30] = 27.0
    heat = judged(crop, temps)["heat"]
    assert heat.verdict is verdict
    if crop == "lettuce":
        assert (
            "30 h above 25 °C, above which its seed can fall asleep (University of Florida IFAS)" in heat.says
        )
        assert "the warmest hour had 27.0 °C" in heat.says


def test_dried_out_goes_by_the_longest_stretch_below_the_dry_line() -> None:
    moisture = MOIST.copy()
    moisture[10:30] = 0.2
    moisture[50:55] = 0.2
    dry = judged(moisture=moisture)["dried out"]
    assert dry.verdict is Verdict.LIKELY
    assert "25 of 240 h below the dry line, 20 h in a row" in dry.says
    assert judged(moisture=moisture, calibrated=False)["dried out"].verdict is Verdict.POSSIBLE


def test_drowned_needs_two_days_at_container_capacity() -> None:
    moisture = MOIST.copy()
    moisture[:30] = 0.6
    assert judged(moisture=moisture)["drowned"].verdict is Verdict.POSSIBLE
    moisture[:50] = 0.6
    assert judged(moisture=moisture)["drowned"].verdict is Verdict.LIKELY


def test_seed_is_judged_by_its_lots_germination_and_age_against_what_is_published() -> None:
    weak = judged(lot=SeedLot("old", 0.5, 0.75, "the US standard"))["old or weak seed"]
    assert weak.verdict is Verdict.LIKELY
    assert "germinates 50 %, and 75 % is wanted (the US standard)" in weak.says
    aged = SeedLot("2019", None, 0.7, "s", age_years=4, life_years=1, life_source="Iowa State")
    assert judged("onion", lot=aged)["old or weak seed"].verdict is Verdict.LIKELY
    unknown = judged(lot=SeedLot("gift", life_years=4, life_source="Iowa State"))["old or weak seed"]
    assert unknown.verdict is Verdict.UNKNOWN
    assert "its age is not recorded; such seed keeps about 4 years (Iowa State)" in unknown.says


def test_what_was_not_measured_cannot_be_judged_and_says_so() -> None:
    found = judged(moisture=np.full(HOURS, np.nan), lot=None)
    for name in ("dried out", "drowned", "old or weak seed"):
        assert found[name].verdict is Verdict.UNKNOWN
    flower = judged("petunia")
    assert flower["cold"].verdict is Verdict.UNKNOWN
    assert "no minimum is published" in flower["cold"].says


def test_likely_causes_stand_before_possible_ones() -> None:
    temps, moisture = np.full(HOURS, 20.0), MOIST.copy()
    temps[:30] = 5.0
    moisture[:20] = 0.1
    assert [cause.name for cause in likeliest(list(judged("tomato", temps, moisture).values()))] == [
        "dried out"
    ]


def test_the_longest_run_is_counted_between_its_ends() -> None:
    assert longest_run_h(np.array([True, False, True, True, False])) == 2.0
    assert longest_run_h(np.array([False, False])) == 0.0
    assert longest_run_h(np.ones(5, dtype=bool)) == 5.0
