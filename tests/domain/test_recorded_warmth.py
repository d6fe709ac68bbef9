"""In records no one here wrote the noon wiggle goes with warmth, comes out, and no wetting is lost.

`python -m tests.figures warmth` prints the figures asserted here.
"""

import pytest

from tests.figures import records, warmth
from tests.figures.wettings import FORD_RAINS

pytestmark = pytest.mark.data


def test_in_the_desert_the_noon_wiggle_is_warmth_and_goes_away() -> None:
    record = records.ford_dry_lake()
    effect = warmth.effect_of(record)
    assert effect.used
    assert effect.m3_m3_per_c == pytest.approx(0.0008, abs=0.0001)
    assert effect.removed_share is not None
    assert effect.removed_share > 0.8
    before = warmth.noon_rise_m3_m3(record, record.moisture_m3_m3)
    after = warmth.noon_rise_m3_m3(record, warmth.corrected(record, effect))
    assert before > 0.01
    assert abs(after) < 0.1 * before


def test_half_a_year_shows_what_takes_the_wiggle_out_of_the_other_half() -> None:
    record = records.ford_dry_lake()
    effect = warmth.effect_of(record, last=0.5)
    before = warmth.noon_rise_m3_m3(record, record.moisture_m3_m3, 0.5)
    after = warmth.noon_rise_m3_m3(record, warmth.corrected(record, effect), 0.5)
    assert abs(after) < 0.1 * before


def test_no_wetting_of_the_desert_is_lost_or_made_by_taking_warmth_out() -> None:
    record = records.ford_dry_lake()
    found = warmth.judged(warmth.corrected(record, warmth.effect_of(record)))
    assert (found.found, found.real, found.reported) == (len(FORD_RAINS),) * 3


def test_with_warmth_taken_out_the_detector_needs_none_of_its_allowances_there() -> None:
    record = records.ford_dry_lake()
    before = warmth.judged(record.moisture_m3_m3, warmth.BARE)
    after = warmth.judged(warmth.corrected(record, warmth.effect_of(record)), warmth.BARE)
    assert before.real / before.reported < 0.3
    assert (after.found, after.real, after.reported) == (len(FORD_RAINS),) * 3


def test_a_rainless_month_still_has_no_wetting_and_the_failed_sensor_is_left_as_it_is() -> None:
    plots = warmth.dry_season()
    assert {plot: len(a) + len(b) for plot, (_, a, b) in plots.items()} == dict.fromkeys(plots, 0)
    assert [plot for plot, (effect, _, _) in plots.items() if not effect.used] == [1]
