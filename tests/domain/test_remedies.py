"""What counts as done about a need: what its notice asks for, and not what is done every day anyway."""

import pytest

from traywarden.domain.episodes import Episode
from traywarden.domain.evidence import HeadSample, Sown
from traywarden.domain.journal import Kind
from traywarden.domain.remedies import remedies_of
from traywarden.domain.seed_rules import hot_verdict
from traywarden.domain.subjects import a_tray


def test_airing_the_place_is_nothing_done_against_cold() -> None:
    kinds = remedies_of(Episode("cold:tray-1:5", "cold", a_tray(1), 5))
    assert Kind.MOVED in kinds
    assert Kind.VENTED not in kinds


@pytest.mark.parametrize("falls_asleep", [True, False])
def test_watering_answers_heat_only_where_the_notice_says_to_water(falls_asleep: bool) -> None:
    sown = Sown("Lettuce", 0, 1.7, ceiling_c=25.0, ceiling_kind="limit", falls_asleep=falls_asleep)
    verdict = hot_verdict([HeadSample("a/1", soil_temp_c=30.0)], sown, close_below_c=1.0)
    kinds = remedies_of(Episode("hot:tray-1:5", "hot", a_tray(1), 5, facts=verdict.facts))
    assert {Kind.MOVED, Kind.VENTED} <= set(kinds)
    assert (Kind.WATERED in kinds) is falls_asleep
