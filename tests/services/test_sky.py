"""What a forecast makes of the air of a place, for the outlook on drying."""

from collections.abc import Iterator

import numpy as np
import pytest

from tests.services.field_garden import FRAME, MOVED_S, PLACE, FieldGarden, field_garden, forecast_into
from tests.services.questions.conftest import grounded
from traywarden.domain.dry_outlook import AirAhead
from traywarden.domain.psychrometrics import vpd_kpa
from traywarden.services.questions.ground import Ground
from traywarden.services.sky import air_forecast, sky_of
from traywarden.store import outside

pytestmark = pytest.mark.data


def air_ahead_of(ground: Ground) -> AirAhead | None:
    """What is told of the air of the open field."""
    place = next(place for place in ground.places.values() if place.name == PLACE)
    return air_forecast(ground)(ground, place)


@pytest.fixture(scope="module")
def recorded(tmp_path_factory: pytest.TempPathFactory) -> Iterator[FieldGarden]:
    made = field_garden(tmp_path_factory.mktemp("field"))
    yield made
    made.store.close()


def test_without_a_forecast_nothing_is_said_of_any_place(recorded: FieldGarden) -> None:
    with grounded(recorded.store, recorded.at_ms("06-01", 18)) as ground:
        ahead = air_forecast(ground)
        assert all(ahead(ground, place) is None for place in ground.places.values())


def test_the_open_airs_forecast_is_the_open_places_air_and_its_deficit(recorded: FieldGarden) -> None:
    forecast_into(recorded, "06-20", 18, 48, np.zeros(48))
    with grounded(recorded.store, recorded.at_ms("06-20", 18)) as ground:
        ahead = air_forecast(ground)
        places = {place.name: place for place in ground.places.values()}
        told = ahead(ground, places[PLACE])
        assert ahead(ground, places[FRAME]) is None  # nothing was ever measured there
    assert told is not None
    first = round((told.hour_s[0] - MOVED_S - recorded.field.time_s[0]) / 3600)
    air = recorded.field.air_c[first : first + 48]
    humid = recorded.field.rh_pct[first : first + 48]
    assert np.abs(told.air_temp_c - air).mean() < 0.5
    assert np.abs(told.vpd_kpa - vpd_kpa(air, humid)).mean() < 0.12
    assert "invented" in told.source


def test_hours_that_have_passed_are_no_part_of_it(recorded: FieldGarden) -> None:
    with grounded(recorded.store, recorded.at_ms("06-21", 18)) as ground:
        sky = sky_of(ground)
        assert sky.ahead_s[0] == ground.now_ms / 1000
        assert sky.ahead_s.size == 24
    with grounded(recorded.store, recorded.at_ms("06-23", 18)) as ground:
        assert sky_of(ground).ahead_s.size == 0
        assert "it is history" in sky_of(ground).says


def test_until_a_forecast_begins_the_open_air_is_like_its_own_last_days(recorded: FieldGarden) -> None:
    forecast_into(recorded, "08-02", 6, 24, np.zeros(24))
    with grounded(recorded.store, recorded.at_ms("08-02", 6) + 1) as ground:
        newest = outside.newest_forecast(ground.tx, ground.now_ms)
    assert newest is not None
    late_s = newest.time_s[6:]
    with recorded.store.write() as tx:
        air = {"air_temp_c": newest.air_temp_c[6:], "rh_pct": newest.rh_pct[6:]}
        times_ms = np.asarray(late_s * 1000, np.int64)
        outside.put_forecast(tx, "late", round(newest.issued_s * 1000) + 1000, times_ms, air)
    with grounded(recorded.store, recorded.at_ms("08-02", 7)) as ground:
        sky = sky_of(ground)
        told = air_ahead_of(ground)
    assert (sky.ahead_s[0], sky.told_from_s) == (recorded.at_ms("08-02", 7) / 1000, late_s[0])
    assert np.diff(sky.ahead_s).tolist() == [3600.0] * (sky.ahead_s.size - 1)
    assert "from Sun 02 Aug 12:00 up to Mon 03 Aug 06:00; until then the open air" in sky.says
    first = round((sky.ahead_s[0] - MOVED_S - recorded.field.time_s[0]) / 3600)
    truth = recorded.field.air_c[first : first + sky.ahead_c.size]
    before = sky.ahead_s < sky.told_from_s
    assert 0 < np.abs(sky.ahead_c - truth)[before].mean() < 3
    assert np.abs(sky.ahead_c - truth)[~before].max() < 1e-6
    assert told is not None
    assert told.hour_s[0] == sky.told_from_s  # drying: its own last days until then


def test_a_forecast_that_begins_in_four_days_is_not_used_yet(recorded: FieldGarden) -> None:
    start_ms = recorded.at_ms("08-08", 6)
    times_ms = np.asarray(start_ms + 3_600_000 * np.arange(24), np.int64)
    with recorded.store.write() as tx:
        outside.put_forecast(
            tx, "far", recorded.at_ms("08-04", 6), times_ms, {"air_temp_c": np.full(24, 20.0)}
        )
    with grounded(recorded.store, recorded.at_ms("08-04", 7)) as ground:
        sky = sky_of(ground)
    assert sky.ahead_s.size == 0
    assert sky.says == (
        "the newest forecast (“far”) begins Sat 08 Aug 06:00, so it is not used yet: "
        "that is more than 72 h ahead"
    )


def test_a_known_bias_of_forecasts_is_taken_off_once_enough_hours_were_measured(
    recorded: FieldGarden,
) -> None:
    for day in range(1, 9):
        forecast_into(recorded, f"07-{day:02}", 18, 36, np.full(36, 2.0))
    with grounded(recorded.store, recorded.at_ms("07-08", 18)) as ground:
        sky = sky_of(ground)
    assert sky.error.judged
    # The three older forecasts were right: two degrees of eight times 36 hours, none of two times 48.
    assert 1.3 < sky.error.bias_c < 2.0
    first = round((sky.ahead_s[0] - MOVED_S - recorded.field.time_s[0]) / 3600)
    truth = recorded.field.air_c[first : first + sky.ahead_c.size]
    assert abs((sky.ahead_c - truth).mean()) < 0.8
    assert "corrected by -1." in sky.says
