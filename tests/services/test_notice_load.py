"""How many notices a recorded year brings with the settings as they come; see tests/figures/notices.py."""

from datetime import date

import pytest

from tests.figures import notices
from tests.services.watched_garden import settings_with
from traywarden.services.judging import standing_rules


@pytest.mark.data
def test_a_year_as_eight_trays_is_no_nuisance() -> None:
    """Bondville 1998, March to October: at most three notices about a tray in the median week, no chatter."""
    answer = notices.replayed(*notices.SEASON, notices.AT_READINGS)
    assert (answer.trays, answer.weeks) == (8, 33)
    assert answer.tray_week_median <= 3
    assert answer.tray_week_most <= 4
    assert {each.rule for each in answer.rules if each.episodes} == set(notices.AT_READINGS)
    gaps_s = {r.name: r.open_delay_s + r.close_delay_s for r in standing_rules(settings_with())}
    last: dict[tuple[str, str], float] = {}
    for notice in answer.notices:
        if notice.change != "opened":
            continue
        for tray in notice.subjects:
            before = last.get((notice.rule, tray))
            at_s = notice.at.timestamp()
            assert before is None or at_s - before >= gaps_s[notice.rule], f"{notice.rule} of {tray}"
            last[notice.rule, tray] = at_s


@pytest.mark.data
def test_rules_of_places_and_probes_by_the_clock_are_no_nuisance_either() -> None:
    """Six days of a cold April: frost is told once a night."""
    rules = ("frost", "rain", "vent", "shut", "quiet", "battery")
    answer = notices.replayed(date(1998, 4, 5), date(1998, 4, 10), rules)
    per_rule = {each.rule: each.notices for each in answer.rules}
    assert 1 <= per_rule["frost"] <= 6
    assert {rule for rule, number in per_rule.items() if number} <= {"frost", "rain"}
