"""How many notices a recorded year brings with the settings as they come; see tests/figures/notices.py."""

from datetime import date

import pytest

from tests.figures import notices
from tests.services.watched_garden import settings_with
from traywarden.services.judging import standing_rules
from traywarden.services.questions.replayed import MANY_A_WEEK, ReplayAnswer

AT_READINGS = tuple(rule.name for rule in standing_rules(settings_with()))


def no_nuisance(answer: ReplayAnswer) -> None:
    """At most three notices about a tray in the median week, and no two beginnings within a stated gap."""
    assert answer.trays == 8
    assert answer.tray_week_median <= MANY_A_WEEK
    assert notices.too_near(answer) == []
    assert all(each.gap_s > 0 for each in answer.rules)


@pytest.mark.data
@pytest.mark.parametrize(
    ("kind", "start", "end", "told"),
    [
        # Frame and bench in spring: cold nights, warm noons, seed and seedlings side by side.
        ("soil", date(1998, 4, 20), date(1998, 4, 24), {"cold"}),
        # Bench and shade in summer, watered by hand.
        ("mix", date(1998, 7, 13), date(1998, 7, 17), {"dry", "drying"}),
    ],
)
def test_days_with_every_rule_are_no_nuisance(kind: str, start: date, end: date, told: set[str]) -> None:
    """Days unlike each other; `python -m tests.figures notices` prints the whole year."""
    answer = notices.replayed(kind, start, end)
    no_nuisance(answer)
    assert told <= {each.rule for each in answer.rules if each.begun + each.reminded}
    assert answer.left_out == ("disk", "broker", "slow", "parked")


@pytest.mark.data
def test_five_months_of_the_rules_at_readings_are_no_nuisance() -> None:
    answer = notices.replayed("soil", date(1998, 3, 1), date(1998, 7, 31), AT_READINGS)
    assert answer.weeks == 22
    no_nuisance(answer)
    assert {"cold", "hot", "damp"} <= {each.rule for each in answer.rules if each.episodes}
    times: dict[tuple[str, str], float] = {}
    for notice in answer.notices:  # as they came, by the messages alone
        for rule in answer.rules if "opened" in notice.change else ():
            for tray in notice.subjects if rule.rule in notice.rule.split(", ") else ():
                at_s = notice.at.timestamp()
                before_s = times.get((rule.rule, tray), at_s - rule.gap_s)
                assert at_s - before_s >= rule.gap_s, f"{rule.rule} of {tray}"
                times[rule.rule, tray] = at_s
