"""Every rule against the real watch on a driven clock; a message that is not expected fails the test.

Some are played against the host as a process instead, in tests/system/test_rule_timelines.py.
"""

import pytest

from tests.services import test_rule_histories
from tests.services.rule_worlds import AS_A_PROCESS, LATE_AS_A_PROCESS, SCENARIOS, line_of
from tests.services.timelines import CASES, Scenario, come_late, come_late_and_hold, live_through
from tests.services.watched_garden import settings_with
from traywarden.services.asking.standing import ROWS
from traywarden.services.judging import standing_rules
from traywarden.store.store import Store

HERE = [each for each in SCENARIOS if each.rule not in AS_A_PROCESS]


def test_every_rule_there_is_goes_through_every_case_or_says_why_it_cannot() -> None:
    """A new rule without its six timelines fails here."""
    every = [rule.name for rule in standing_rules(settings_with())] + [row[0] for row in ROWS]
    assert sorted(each.rule for each in SCENARIOS) == sorted(every)
    for each in SCENARIOS:
        apart = [each.played, set(each.own), set(each.cannot)]
        assert set().union(*apart) == set(CASES), each.rule
        assert sum(map(len, apart)) == len(CASES), f"{each.rule}: a case is played and said to be impossible"
        assert all(len(why) > 40 for why in each.cannot.values())
        assert all(hasattr(test_rule_histories, test) for test in each.own.values())


@pytest.mark.parametrize("scenario", HERE, ids=str)
def test_it_opens_once_whatever_wavers_stays_open_while_blind_and_over_a_restart_and_ends_once(
    sqlite_store: Store, scenario: Scenario
) -> None:
    live_through(line_of(sqlite_store, scenario), scenario)


@pytest.mark.parametrize(
    "scenario",
    [each for each in SCENARIOS if each.late is not None and each.rule not in LATE_AS_A_PROCESS],
    ids=str,
)
def test_what_comes_in_late_makes_no_noise(sqlite_store: Store, scenario: Scenario) -> None:
    come_late(line_of(sqlite_store, scenario), scenario)


AT_ITS_OWN_HOURS = ("drying", "frost", "quiet")
"""Told of by what hour it is, or of a silence: late readings that hold are as good as any others."""


@pytest.mark.parametrize(
    "scenario",
    [each for each in SCENARIOS if each.late is not None and each.rule not in AT_ITS_OWN_HOURS],
    ids=str,
)
def test_what_comes_in_late_and_still_holds_is_told_once(sqlite_store: Store, scenario: Scenario) -> None:
    come_late_and_hold(line_of(sqlite_store, scenario), scenario)
