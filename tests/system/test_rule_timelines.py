"""Rules through their timelines against the host as a process: readings over MQTT, kill -9 in the middle, and
a web server that is told. The clock is the test's; a message that is not expected fails.

`make test` plays one rule of each kind of subject; TRAYWARDEN_TIMELINES=all every rule but one.
"""

import os
from collections.abc import Iterator
from contextlib import ExitStack
from pathlib import Path

import pytest

from tests.links.mail_and_web import web_server
from tests.services.rule_worlds import AS_A_PROCESS, LATE_AS_A_PROCESS, QUICK, SCENARIOS, line_of
from tests.services.timelines import Scenario, come_late, live_through
from tests.system.driven import ProcessLine, Stage
from tests.system.hosts import Nursery

pytestmark = [pytest.mark.system, pytest.mark.timeout(300)]
NOT_HERE = {"broker": "the broker runs and dies with this host"}
ALL = os.environ.get("TRAYWARDEN_TIMELINES") == "all"
PLAYED = [each for each in SCENARIOS if each.rule not in NOT_HERE]
LIVED = [each for each in PLAYED if ALL or each.rule in AS_A_PROCESS]
LATE = [each for each in PLAYED if each.late is not None and (ALL or each.rule in LATE_AS_A_PROCESS)]


@pytest.fixture(scope="module")
def nursery() -> Iterator[Nursery]:
    with Nursery() as forks:
        yield forks


@pytest.fixture
def stage(tmp_path: Path, nursery: Nursery) -> Iterator[Stage]:
    with ExitStack() as stack:
        hook = stack.enter_context(web_server())
        yield Stage(tmp_path / "home", nursery, hook, stack)


def process_line(stage: Stage, of: Scenario) -> ProcessLine:
    store = stage.store(QUICK | dict(of.settings))
    kind = type("Here", (ProcessLine,), {"stage": stage})
    return line_of(store, of, kind)


def test_what_is_played_here_alone_is_played() -> None:
    """tests/services/test_rule_timelines.py leaves these to this file."""
    assert {each.rule for each in LIVED} >= set(AS_A_PROCESS)
    assert {each.rule for each in LATE} >= set(LATE_AS_A_PROCESS)


@pytest.mark.parametrize("scenario", LIVED, ids=str)
def test_it_opens_once_whatever_wavers_stays_open_while_blind_and_over_a_kill_and_ends_once(
    stage: Stage, scenario: Scenario
) -> None:
    live_through(process_line(stage, scenario), scenario)


@pytest.mark.parametrize("scenario", LATE, ids=str)
def test_what_comes_in_late_makes_no_noise(stage: Stage, scenario: Scenario) -> None:
    come_late(process_line(stage, scenario), scenario)
