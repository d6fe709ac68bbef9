"""Wettings in records no one here wrote. Rain only judges the detector; it never sees it.

`python -m tests.figures wettings` prints the figures asserted here.
"""

import numpy as np
import pytest

from tests.figures import records, wettings
from traywarden.domain.waterings import find_wettings

pytestmark = pytest.mark.data


@pytest.mark.parametrize("soil_temp", ["soil_temp_2cm_c", "soil_temp_4cm_c"])
def test_bondville_freeze_and_thaw_in_january_is_no_watering(soil_temp: str) -> None:
    assert wettings.bondville(soil_temp).in_january_frost == []


@pytest.mark.parametrize("soil_temp", ["soil_temp_2cm_c", "soil_temp_4cm_c"])
def test_bondville_late_summer_is_one_dry_down_or_a_few(soil_temp: str) -> None:
    found = wettings.bondville(soil_temp)
    assert 1 <= found.dry_down_count <= 3
    assert found.dry_down_part >= 0.90


@pytest.mark.parametrize("soil_temp", ["soil_temp_2cm_c", "soil_temp_4cm_c"])
def test_bondville_ten_of_eleven_rains_are_found_within_thirty_hours(soil_temp: str) -> None:
    days = wettings.bondville(soil_temp).rain_days
    assert len(days) == 11
    missed = [d.start for d in days if d.found is None]
    assert len(missed) <= 1
    # The fifth of January leaves no trace in the sensor.
    assert all(f"{m:%m-%d}" == "01-05" for m in missed)


@pytest.mark.parametrize("soil_temp", ["soil_temp_2cm_c", "soil_temp_4cm_c"])
def test_bondville_has_at_most_one_false_wetting_in_thirty_unfrozen_dry_days(soil_temp: str) -> None:
    found = wettings.bondville(soil_temp)
    assert found.dry_days > 120
    assert found.false_in_30_days <= 1.0


def test_ford_dry_lake_shows_its_eight_wettings_and_no_other() -> None:
    found = wettings.ford()
    assert [rain for rain, onset in found.found.items() if onset is None] == []
    assert found.elsewhere == []
    assert found.wettings == len(wettings.FORD_RAINS)


@pytest.mark.parametrize("passed_only", [True, False])
@pytest.mark.parametrize("with_temperature", [True, False])
def test_a_rainless_month_has_no_wetting_on_any_of_five_plots(
    passed_only: bool, with_temperature: bool
) -> None:
    """With and without the values that failed the station's own check (nearly all of plot 1 failed)."""
    plots = wettings.dry_season(passed_only=passed_only, with_temperature=with_temperature)
    assert len(plots) == 5
    assert {plot: len(found) for plot, found in plots.items()} == dict.fromkeys(plots, 0)


def test_a_watcher_that_sees_ten_days_finds_what_the_whole_year_shows() -> None:
    """Every five days of Bondville: the last five of ten days, but for the newest three hours, agree."""
    r = records.bondville()
    year = find_wettings(r.time_s, r.moisture_m3_m3, r.soil_temp_c)
    for last in range(480, r.time_s.size, 240):
        part = slice(last - 480, last)
        from_s, to_s = r.time_s[last - 240], r.time_s[last - 1] - 3 * 3600
        seen = find_wettings(r.time_s[part], r.moisture_m3_m3[part], r.soil_temp_c[part])
        mine = [w.onset_s for w in seen if from_s <= w.onset_s and w.peak_s <= to_s]
        assert mine == [w.onset_s for w in year if from_s <= w.onset_s and w.peak_s <= to_s]


def test_thinning_the_record_to_one_reading_in_two_keeps_the_desert_s_wettings() -> None:
    """Every two hours instead of every hour, starting with the first or the second reading."""
    r = records.ford_dry_lake()
    for first in (0, 1):
        thin = slice(first, None, 2)
        found = find_wettings(r.time_s[thin], r.moisture_m3_m3[thin], r.soil_temp_c[thin])
        days = {f"{r.local[int(np.searchsorted(r.time_s, w.onset_s))]:%m-%d}" for w in found}
        assert days >= set(wettings.FORD_RAINS) - {"01-26", "07-30"}
