"""Hardening: the published numbers, and verdicts on made-up fortnights."""

import re
from datetime import date, timedelta

import numpy as np
import pandas as pd
import pytest

from tests.shared_data import reference_file, shared_file
from traywarden.domain.hardening import RULES, hardening, night_rules
from traywarden.domain.place_days import PlaceDays
from traywarden.domain.psychrometrics import vpd_kpa
from traywarden.domain.series import FloatArray
from traywarden.domain.units import c_from_f
from traywarden.store.crops import crop_named, load_crops

DAYS = tuple(date(2026, 4, 1) + timedelta(n) for n in range(14))
RNG = np.random.default_rng(12)
BED_LOW_C = 6 + RNG.normal(0, 1.5, 14)
BED_VPD_KPA = 0.6 + RNG.uniform(-0.2, 0.2, 14)


def days(name: str, low_c: FloatArray, vpd_kpa: FloatArray, swing_c: float = 12.0) -> PlaceDays:
    blank = np.full(low_c.size, np.nan)
    return PlaceDays(
        name, DAYS[: low_c.size], blank, low_c, low_c + swing_c, low_c + 5, blank, blank, vpd_kpa, {}
    )


BED = days("bed", BED_LOW_C, BED_VPD_KPA)


@pytest.mark.data
def test_the_minimum_of_each_class_is_the_published_one() -> None:
    """The row “hardening minimum by class” of heat_and_frost.md, in °F."""
    page = reference_file("heat_and_frost.md").read_text(encoding="utf-8")
    row = next(line for line in page.splitlines() if line.startswith("| hardening minimum by class"))
    published: dict[str, float] = {}
    for low_f, names in re.findall(r"(?:hardy|half-hardy|tender) (\d\d)(?: °F)? \(([^)]*)\)", row):
        published |= {name.strip(): float(low_f) for name in names.split(",")}
    published |= {"cucumber": float(re.findall(r"cucumber (\d\d)", row)[0])}
    published |= dict.fromkeys(("basil", "tomato", "pepper"), float(re.findall(r"pepper (\d\d)", row)[0]))
    keys = {crop.key: crop for crop in load_crops().values()}
    checked = 0
    for name, low_f in published.items():
        try:
            key = crop_named(name).key
        except Exception:  # noqa: BLE001  leek and Brussels sprouts are not in the crop table
            continue
        assert key in keys
        assert RULES[key][0].low_f == low_f, name
        assert RULES[key][0].low_c == pytest.approx(c_from_f(low_f))
        assert "[V2]" in row
        assert RULES[key][0].tag == "secondary"
        checked += 1
    assert checked >= 12


@pytest.mark.data
def test_the_rules_of_extension_services_are_the_published_ones() -> None:
    page = reference_file("heat_and_frost.md").read_text(encoding="utf-8")
    maryland = next(line for line in page.splitlines() if "Univ. of Maryland Extension" in line)
    assert "45 °F (7.2 °C)" in maryland
    assert "cucumber/melon stay out overnight only at ≥ 50 °F" in maryland
    assert night_rules("marigold")[0].low_c == pytest.approx(7.2, abs=0.05)
    assert night_rules("muskmelon")[0].low_f == 50
    green_bay = next(line for line in page.splitlines() if "Green Bay" in line)
    assert "nights ≥ 50 °F after a week" in green_bay
    assert "not out below 60 °F (15.6 °C)" in green_bay
    for crop in ("tomato", "pepper"):
        _, first, later = night_rules(crop)
        assert (first.low_f, later.low_f) == (60, 50)
        assert first.low_c == pytest.approx(15.6, abs=0.05)


def test_every_listed_crop_is_one_of_the_table() -> None:
    assert set(RULES) <= set(load_crops())


def test_a_frame_keeps_plants_soft_and_says_by_how_much() -> None:
    found = hardening(days("frame", BED_LOW_C + 4, BED_VPD_KPA * 0.5, 9.0), BED, night_rules("tomato"))
    assert found.need == "yes"
    assert found.low_difference_c.estimate == pytest.approx(4.0)
    assert found.range_difference_c.estimate == pytest.approx(-3.0)
    assert found.demand_part.estimate == pytest.approx(0.5)
    assert found.demand_part.low == pytest.approx(0.5)
    assert {day.why for day in found.days} == {"warmer night"}
    last = BED_LOW_C[-7:]
    below = [int((last < low_c).sum()) for low_c in (18.3, 15.6, 10)]
    assert [count.cold_nights for count in found.rules] == below
    assert found.lowest_c == pytest.approx(last.min())


def test_plants_on_the_bench_for_a_week_are_hardened_and_for_three_days_partly() -> None:
    for out_days, need in ((14, "no"), (7, "no"), (3, "partly"), (0, "yes")):
        outside = np.arange(14) >= 14 - out_days
        plants = days("tray", BED_LOW_C + np.where(outside, 0.2, 4.0), BED_VPD_KPA)
        found = hardening(plants, BED)
        assert (found.need, found.days_outdoors) == (need, out_days)


def test_cold_nights_in_moist_air_are_not_enough() -> None:
    found = hardening(days("frame", BED_LOW_C + 0.5, BED_VPD_KPA * 0.6), BED)
    assert found.need == "yes"
    assert {day.why for day in found.days} == {"moister air"}


def test_where_humidity_is_not_known_nights_decide_and_the_demand_is_not_told() -> None:
    found = hardening(days("tray", BED_LOW_C + 0.5, np.full(14, np.nan)), BED)
    assert found.need == "no"
    assert found.demand_part.estimate is None


def test_too_few_common_days_cannot_tell() -> None:
    blind = np.where(np.arange(14) < 11, np.nan, BED_LOW_C)
    found = hardening(days("tray", blind, BED_VPD_KPA), BED)
    assert (found.need, found.days_known) == ("cannot tell", 3)
    assert found.days[0].why == "not measured on both sides"


def test_only_the_last_fortnight_counts() -> None:
    long = tuple(date(2026, 3, 1) + timedelta(n) for n in range(30))
    blank, low = np.full(30, np.nan), np.full(30, 6.0)
    bed = PlaceDays("bed", long, blank, low, low + 12, low, blank, blank, blank, {})
    inside = np.where(np.arange(30) < 16, 0.0, 5.0)  # it stood outside before, not since
    plants = PlaceDays("tray", long, blank, low + inside, low + 12, low, blank, blank, blank, {})
    assert hardening(plants, bed).need == "yes"


@pytest.mark.data
def test_the_drying_air_is_what_a_house_recorded_for_itself() -> None:
    """The glasshouse wrote down its own humidity deficit [g/m³]; by the gas law ours is the same."""
    table = pd.read_csv(shared_file("glasshouse_inside_2022.csv"))
    table = table.dropna(subset=["Tair", "Rhair", "HumDef_g_m3"])
    temp_c, rh_pct = table["Tair"].to_numpy(np.float64), table["Rhair"].to_numpy(np.float64)
    ours = vpd_kpa(temp_c, rh_pct) * 2165 / (temp_c + 273.15)
    off = np.abs(ours - table["HumDef_g_m3"].to_numpy(np.float64))
    assert len(off) > 12_000
    assert off.max() < 0.025
