"""Dry-downs in records no one here wrote. `python -m tests.figures dry-downs` prints them."""

import pandas as pd
import pytest

from tests.figures import dry_downs, records

pytestmark = pytest.mark.data


def test_bondville_late_summer_dries_towards_the_level_it_reached() -> None:
    """0.39 → 0.22 from mid-August to mid-September, the longest true dry-down of the record."""
    longest = max((d for d in dry_downs.of(records.bondville()) if d.told), key=lambda d: d.span_s)
    assert longest.span_s > 35 * 86400
    assert longest.r2 is not None
    assert longest.r2 > 0.95
    assert not longest.residual_held
    assert longest.residual_m3_m3 == pytest.approx(0.21, abs=0.01)


def test_frozen_soil_is_in_no_dry_down() -> None:
    """Moisture falls 0.37 → 0.16 from 13 to 20 January as the soil freezes; that is no drying."""
    r = records.bondville()
    start, end = pd.Timestamp("1998-01-13"), pd.Timestamp("1998-01-22")
    start_s, end_s = r.time_s[(r.local >= start) & (r.local < end)][[0, -1]]
    assert all(d.end_s < start_s or d.start_s > end_s for d in dry_downs.of(r))


def test_the_desert_dries_in_days_and_its_long_tails_are_told() -> None:
    """Tails of two to eight weeks; a bare sandy surface in the desert dries with a time constant of days."""
    told = [d for d in dry_downs.of(records.ford_dry_lake()) if d.told and d.span_s > 10 * 86400]
    assert len(told) >= 5
    for down in told:
        assert down.tau_s is not None
        assert 1 < down.tau_s / 86400 < 14
