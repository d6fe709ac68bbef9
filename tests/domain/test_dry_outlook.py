"""When a tray is at its dry line: a time with an interval, or a reason a grower understands."""

import numpy as np
import pytest

from tests.domain.dryings import START_S, cut, drying
from traywarden.domain.dry_outlook import air_ahead, dry_outlook
from traywarden.domain.drying import Drying
from traywarden.domain.foresight import foresight, remember
from traywarden.domain.psychrometrics import vpd_kpa
from traywarden.domain.spread import NOTHING_LEARNT

HOUR_S = 3600.0


def end_s(made: Drying) -> float:
    return float(made.hour_s[-1]) + HOUR_S


def test_the_way_leads_from_now_to_the_dry_line_and_the_band_about_it_widens() -> None:
    made = drying(48, 60.0)
    found = dry_outlook(foresight(made), 0.15, end_s(made), NOTHING_LEARNT)
    assert found.in_h is not None
    assert found.low_h is not None
    assert found.high_h is not None
    assert found.low_h < found.in_h < found.high_h
    assert [p.in_h for p in found.path] == sorted(p.in_h for p in found.path)
    assert found.path[-1].level_m3_m3 == pytest.approx(0.15)
    assert found.path[-1].in_h == pytest.approx(found.in_h, abs=0.01)
    widths = [p.high_h - p.low_h for p in found.path]
    assert widths == sorted(widths)


def test_time_that_passed_since_the_last_measured_hour_is_taken_off() -> None:
    made = drying(48, 60.0)
    now = foresight(made)
    early, late = (dry_outlook(now, 0.15, end_s(made) + wait * HOUR_S).in_h for wait in (0, 3))
    assert early is not None
    assert late == pytest.approx(early - 3)


@pytest.mark.parametrize(
    ("line", "hours", "reason"),
    [
        (0.05, 48, "it levels off at about 0.05 m³/m³, before it is at the dry line"),
        (
            0.15,
            5,
            "it has dried for 5 hours only; it takes half a day, or an earlier dry-down, to see how fast",
        ),
        (0.15, 1, "it has dried for 1 hour only"),
    ],
)
def test_where_there_is_no_outlook_it_says_why(line: float, hours: int, reason: str) -> None:
    made = drying(hours, 60.0, share=0.0)
    found = dry_outlook(foresight(made), line, end_s(made), NOTHING_LEARNT)
    assert found.in_h is found.low_h is found.high_h is None
    assert found.reason.startswith(reason)


def test_a_line_beyond_a_fortnight_is_not_foretold() -> None:
    made = drying(72, 4000.0)
    found = dry_outlook(foresight(made), 0.15, end_s(made), NOTHING_LEARNT)
    assert found.in_h is None
    assert found.reason == "not within 14 days, if it goes on like this"


def test_a_level_at_the_line_is_there_now_and_has_no_way_to_go() -> None:
    made = drying(48, 60.0)
    found = dry_outlook(foresight(made), 0.45, end_s(made), NOTHING_LEARNT)
    assert (found.in_h, found.low_h, found.path) == (0.0, 0.0, ())


def test_without_a_spread_there_is_the_same_time_and_no_interval() -> None:
    """What `today` asks for, quickly, is what `outlook` says at length."""
    made = drying(48, 60.0)
    past = [remember(drying(120, 70.0, start_s=START_S - 8 * 86400))]
    now = foresight(made, past)
    quick, whole = dry_outlook(now, 0.15, end_s(made)), dry_outlook(now, 0.15, end_s(made), NOTHING_LEARNT)
    assert quick.in_h == whole.in_h
    assert (quick.low_h, quick.path) == (None, ())
    assert quick.earlier == whole.earlier > 0


def test_air_of_a_place_holds_the_water_of_the_air_outside() -> None:
    """With its own temperature as outside the deficit is that of the air outside; warmer air is drier."""
    same = air_ahead([0.0], [18.0], [18.0], [60.0], "a forecast")
    assert same.vpd_kpa[0] == pytest.approx(vpd_kpa(18.0, 60.0))
    warmer = air_ahead([0.0, 3600.0], [26.0, np.nan], [18.0, 18.0], [60.0, 60.0], "a forecast")
    assert warmer.vpd_kpa[0] > same.vpd_kpa[0] + 1
    assert np.isnan(warmer.vpd_kpa[1])
    colder = air_ahead([0.0], [5.0], [18.0], [90.0], "a forecast")
    assert colder.vpd_kpa[0] == 0


def test_what_came_after_an_hour_changes_nothing_of_what_was_foreseen_at_it() -> None:
    """At its 40th hour the whole dry-down foresees what its first 40 hours do, gaps and swing included."""
    whole = drying(150, 60.0, noise=0.002, swing=0.001)
    whole.moisture_m3_m3[20:23] = np.nan
    early = cut(whole, 40)
    levels = [0.30, 0.20, 0.15]
    past = [remember(drying(120, 70.0, start_s=START_S - 8 * 86400))]
    at_once = foresight(early, past).remaining_h([39] * 3, levels)
    in_hindsight = foresight(whole, past).remaining_h([39] * 3, levels)
    assert np.isfinite(at_once).all()
    assert in_hindsight == pytest.approx(at_once, rel=1e-9)
