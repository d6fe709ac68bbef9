"""The scale has the trade's names, and the part between dry and full is what it says."""

import re

import numpy as np
import pytest

from tests.domain.made_trays import DAY_S, HOUR_S
from tests.shared_data import reference_file
from traywarden.domain.moisture_scale import LEVELS, between, dry_end, level_of
from traywarden.domain.wetting import Wetting, WettingKind

FROM = (0.25, 0.5, 0.8, 1.05)


@pytest.mark.data
def test_levels_have_the_names_of_the_training_page() -> None:
    page = reference_file("soil_moisture.md").read_text("utf-8").split("### Moisture scale")[1]
    published = {int(n): name for n, name in re.findall(r"^\| ([1-5]) \| ([a-z-]+) \|", page, re.MULTILINE)}
    assert {level.number: level.name for level in LEVELS} == published


@pytest.mark.parametrize(
    ("part", "number"),
    [(-0.2, 1), (0.2499, 1), (0.25, 2), (0.49, 2), (0.5, 3), (0.8, 4), (1.0, 4), (1.05, 5), (1.5, 5)],
)
def test_a_level_begins_where_the_settings_say(part: float, number: int) -> None:
    assert level_of(part, FROM).number == number


@pytest.mark.parametrize("wrong", [(0.2, 0.5, 0.8), (0.5, 0.5, 0.8, 1.0), (0.8, 0.5, 0.2, 0.1)])
def test_levels_that_do_not_rise_are_refused(wrong: tuple[float, ...]) -> None:
    with pytest.raises(ValueError, match="four rising"):
        level_of(0.5, wrong)


def test_the_part_is_nought_at_the_dry_end_and_one_at_capacity() -> None:
    found = between([0.05, 0.55, 0.30, 0.60, np.nan], 0.05, 0.55)
    assert found[:4].tolist() == [0.0, 1.0, 0.5, 1.1]
    assert np.isnan(found[4])
    with pytest.raises(ValueError, match="above the dry end"):
        between(0.3, 0.5, 0.5)


def drying(days: int, tau_d: float = 3.0, low: float = 0.09) -> tuple[np.ndarray, np.ndarray]:
    hour_s = np.arange(24.0 * days) * HOUR_S
    return hour_s, low + (0.55 - low) * np.exp(-hour_s / (tau_d * DAY_S))


def test_a_tray_left_to_dry_shows_where_it_levels_off() -> None:
    hour_s, wet = drying(30)
    found = dry_end(hour_s, wet, [], 0.55)
    assert found.m3_m3 == pytest.approx(0.09, abs=0.002)
    assert found.days > 3


def test_a_tray_that_is_watered_in_time_shows_no_dry_end() -> None:
    hour_s, wet = drying(6)
    assert dry_end(hour_s, wet, [], 0.55).m3_m3 is None
    assert "never dried" in dry_end(hour_s, wet, [], 0.55).source


def test_a_cool_wet_week_is_no_dry_end() -> None:
    hour_s = np.arange(24.0 * 20) * HOUR_S
    assert dry_end(hour_s, np.full(hour_s.size, 0.50), [], 0.55).m3_m3 is None


def test_days_without_readings_or_near_a_wetting_do_not_count() -> None:
    hour_s, wet = drying(30)
    wet[24 * 12 :] = np.nan
    assert dry_end(hour_s, wet, [], 0.55).m3_m3 is None
    hour_s, wet = drying(22)
    splash = [
        Wetting(d * DAY_S, d * DAY_S + HOUR_S, 0.1, 0.12, 0, HOUR_S, WettingKind.RAIN, 1, "")
        for d in range(14, 22, 2)
    ]
    assert dry_end(hour_s, wet, splash, 0.55).m3_m3 is None
