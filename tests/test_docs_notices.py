"""The page on notices says what the code does: every rule, state, change and setting is on it."""

from pathlib import Path

import pytest

from tests.services.watched_garden import settings_with
from traywarden.domain.notices import NoticeState
from traywarden.links.channels import NOTICE_HEADER
from traywarden.services.judging import LOOK_BACK_MS, standing_rules
from traywarden.settings import TABLE

PAGE = (Path(__file__).parents[1] / "docs" / "notices.md").read_text(encoding="utf-8")
KEYS = [row.key for row in TABLE if row.key.split(".")[0] in ("notices", "dry", "cold")]


def test_every_rule_is_on_the_page_with_its_question_and_severity() -> None:
    for rule in standing_rules(settings_with()):
        (row,) = [line for line in PAGE.splitlines() if line.startswith(f"| `{rule.name}` |")]
        assert rule.question in row
        assert row.endswith(f"| {rule.severity} |")


@pytest.mark.parametrize("state", list(NoticeState))
def test_every_state_is_explained(state: NoticeState) -> None:
    assert f"| `{state.value}` |" in PAGE


@pytest.mark.parametrize("key", KEYS)
def test_every_setting_that_shapes_notices_is_named(key: str) -> None:
    assert f"`{key}`" in PAGE


def test_the_header_and_the_look_back_are_as_stated() -> None:
    assert NOTICE_HEADER in PAGE
    assert f"older than {LOOK_BACK_MS // 86_400_000} days" in PAGE
