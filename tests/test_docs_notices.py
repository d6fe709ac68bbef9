"""The page on notices says what the code does: every rule, state, change and setting is on it."""

from pathlib import Path

import pytest

from tests.services.watched_garden import settings_with
from traywarden.domain.notices import NoticeState, severity_words
from traywarden.domain.rules import AnyRule
from traywarden.domain.subjects import SubjectKind
from traywarden.links.channels import NOTICE_HEADER
from traywarden.services.asking.standing import paced_rules
from traywarden.services.judging import LOOK_BACK_MS, standing_rules
from traywarden.settings import TABLE

PAGE = (Path(__file__).parents[1] / "docs" / "notices.md").read_text(encoding="utf-8")
RULES: list[AnyRule] = [
    *standing_rules(settings_with()),
    *(each.rule for each in paced_rules(settings_with())),
]
BY_CLOCK = {each.rule.name for each in paced_rules(settings_with())}
KEYS = [
    row.key
    for row in TABLE
    if row.key.split(".")[0] in {"notices", *(rule.name for rule in RULES)} - {"broker"}
    and not (row.key.split(".")[0] in BY_CLOCK and row.key.endswith("_delay_s"))  # named once for all
]


def test_every_rule_is_on_the_page_with_its_question_and_how_soon_it_is() -> None:
    for rule in RULES:
        rows = [line for line in PAGE.splitlines() if line.startswith(f"| `{rule.name}` |")]
        (row,) = [line for line in rows if rule.question in line]
        assert row.endswith(f"| {severity_words(rule.severity)} |")


def test_every_level_that_may_be_given_for_a_crop_is_named_and_the_pace_of_each_rule_is_right() -> None:
    levels = [row.key for row in TABLE if row.varies and not row.key.endswith("_delay_s")]
    assert [key for key in levels if f"`{key}`" not in PAGE] == []
    of_one = {rule.name for rule in RULES if rule.of in (SubjectKind.TRAY, SubjectKind.PLACE)}
    for end in ("open", "close"):
        varying = {
            row.key.split(".")[0] for row in TABLE if row.varies and row.key.endswith(f".{end}_delay_s")
        }
        assert varying == of_one, "as the page says of all delays"
    for each in paced_rules(settings_with()):
        pace_s = each.rule.pace_s
        words = f"{pace_s / 3600:g} h" if pace_s >= 3600 else f"{pace_s / 60:g} min"
        start = f"| `{each.rule.name}` | {each.rule.of.value} |"
        (row,) = [line for line in PAGE.splitlines() if line.startswith(start)]
        assert f"| {words} |" in row


@pytest.mark.parametrize("state", list(NoticeState))
def test_every_state_is_explained(state: NoticeState) -> None:
    assert f"| `{state.value}` |" in PAGE


@pytest.mark.parametrize("key", KEYS)
def test_every_setting_that_shapes_notices_is_named(key: str) -> None:
    assert f"`{key}`" in PAGE


def test_the_header_and_the_look_back_are_as_stated() -> None:
    assert NOTICE_HEADER in PAGE
    assert f"older than {LOOK_BACK_MS // 86_400_000} days" in PAGE
