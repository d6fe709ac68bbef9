"""A time zone's principal location, against places whose position everybody can look up."""

from zoneinfo import ZoneInfo, available_timezones

import pytest

from traywarden.domain.daylight import standard_offset_h
from traywarden.store.zones import zone_location


@pytest.mark.parametrize(
    ("zone", "name", "latitude_deg", "longitude_deg"),
    [
        ("Pacific/Auckland", "Auckland", -36.87, 174.77),
        ("Europe/Lisbon", "Lisbon", 38.72, -9.13),
        ("America/Argentina/Buenos_Aires", "Buenos Aires", -34.6, -58.45),
        ("America/Sao_Paulo", "Sao Paulo", -23.53, -46.62),
        ("Africa/Johannesburg", "Johannesburg", -26.25, 28.0),
    ],
)
def test_zones_lie_where_their_town_does(
    zone: str, name: str, latitude_deg: float, longitude_deg: float
) -> None:
    found = zone_location(zone)
    assert found is not None
    assert found[0] == name
    assert found[1:] == pytest.approx((latitude_deg, longitude_deg), abs=0.05)


def test_old_names_are_followed_and_zones_of_no_place_have_none() -> None:
    old, new = zone_location("US/Eastern"), zone_location("America/New_York")
    assert old is not None
    assert new is not None
    assert old[1:] == new[1:]
    for zone in ("UTC", "Etc/GMT-2", "Mars/Olympus"):
        assert zone_location(zone) is None


def test_clocks_keep_to_the_sun_of_their_place() -> None:
    """No clock is three and a half hours off its sun: a swapped sign or a misread minute would show."""
    located = {zone: found for zone in available_timezones() if (found := zone_location(zone))}
    assert len(located) > 400
    for zone, (_, latitude_deg, longitude_deg) in located.items():
        assert -90 <= latitude_deg <= 90
        late_h = (standard_offset_h(ZoneInfo(zone)) - longitude_deg / 15 + 12) % 24 - 12
        assert abs(late_h) < 3.5, zone
