"""Soil foretold from outside air in two recorded fields; `python -m tests.figures lags` prints figures."""

import pytest

from tests.figures import hours, lags

pytestmark = pytest.mark.data


@pytest.mark.parametrize(("depth", "error_c"), [("2 cm", 1.7), ("4 cm", 1.45)])
def test_bondville_soil_follows_its_air_out_of_sample(depth: str, error_c: float) -> None:
    found = lags.foretold(hours.bondville(), depth)
    assert found.mean_error_c < error_c
    assert found.mean_error_c < 0.72 * found.plain_mean_error_c
    assert 0.75 <= found.in_80 <= 0.85


@pytest.mark.parametrize(("depth", "error_c"), [("2 in", 1.35), ("4 in", 1.1)])
def test_ford_dry_lake_soil_follows_its_air_out_of_sample(depth: str, error_c: float) -> None:
    found = lags.foretold(hours.ford_dry_lake(), depth)
    assert found.mean_error_c < error_c
    assert found.mean_error_c < 0.5 * found.plain_mean_error_c
    assert 0.75 <= found.in_80 <= 0.85


def test_a_growing_crop_breaks_the_relation_and_bare_ground_keeps_it() -> None:
    """Maize shades Bondville's soil from July; the desert's stays bare. Why an outlook learns anew."""
    assert lags.season_ahead(hours.bondville(), "2 cm") > 2.5
    assert lags.season_ahead(hours.ford_dry_lake(), "2 in") < 1.4
