"""Soil foretold from outside air in two recorded fields; `python -m tests.figures lags` prints figures."""

import pytest

from tests.figures import hours, lags

pytestmark = pytest.mark.data


@pytest.mark.parametrize(
    ("field", "depth", "error_c", "ratio"),
    [
        (hours.bondville, "2 cm", 1.15, 0.55),
        (hours.bondville, "4 cm", 1.1, 0.45),
        (hours.ford_dry_lake, "2 in", 1.35, 0.45),
        (hours.ford_dry_lake, "4 in", 1.05, 0.55),
    ],
)
def test_soil_follows_the_air_on_days_it_was_not_learned_from(
    field: hours.Maker, depth: str, error_c: float, ratio: float
) -> None:
    found = lags.foretold(field(), depth)
    assert found.steadied_error_c < error_c
    assert found.steadied_error_c < ratio * found.plain_mean_error_c
    assert 0.75 <= found.in_80 <= 0.85


def test_a_growing_crop_breaks_the_relation_and_bare_ground_keeps_it() -> None:
    """Maize shades Bondville's soil from July; the desert's stays bare. Why an outlook learns anew."""
    assert lags.season_ahead(hours.bondville(), "2 cm") > 2.5
    assert lags.season_ahead(hours.ford_dry_lake(), "2 in") < 1.4
