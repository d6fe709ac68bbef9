"""How far off a week of told soil may be: as recorded fields show, `python -m tests.figures soil-weeks`."""

import numpy as np
import pytest

from tests.figures import hours, soil_weeks
from traywarden.services.soil_years import WEEK_SPREAD_C


@pytest.mark.data
def test_the_spread_of_a_week_is_what_other_seasons_of_recorded_fields_miss_by() -> None:
    missed = [
        soil_weeks.weeks(field, depth, days).error_c
        for field in (hours.bondville(), hours.ford_dry_lake())
        for depth in field.soil_c
        for days in soil_weeks.TAUGHT.values()
    ]
    assert min(missed) > 0.6
    assert max(missed) < 2.0
    assert float(np.median(missed)) == pytest.approx(WEEK_SPREAD_C, abs=0.2)
