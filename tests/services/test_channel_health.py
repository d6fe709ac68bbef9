"""A channel that fails is known of, and why: given up, tried in vain, late, or for no channel at all."""

from dataclasses import replace

import pytest

from tests.services.little_garden import NOW_MS
from tests.services.watched_garden import channel, settings_with
from traywarden.domain.episodes import ChangeKind
from traywarden.domain.notices import Notice, NoticeState
from traywarden.services.channel_health import channel_troubles
from traywarden.store import notices as notice_store
from traywarden.store.store import Store

FRESH = Notice(
    "aaa111",
    "console",
    "urgent",
    "Water now: A",
    "Water it.",
    (("dry:1:5", ChangeKind.OPENED),),
    NOW_MS - 5_000,
    NoticeState.WAITING,
)


def troubles(store: Store, *notices: Notice) -> dict[str, str]:
    settings = settings_with(channels=[channel("mail")])
    with store.write() as tx:
        notice_store.put(tx, notices)
        return {t.channel: t.why for t in channel_troubles(tx, settings, NOW_MS)}


@pytest.mark.parametrize(
    ("notice", "why"),
    [
        (FRESH, None),
        (replace(FRESH, attempts=1, trouble="no line"), None),
        (replace(FRESH, attempts=2, trouble="no line"), "no line"),
        (replace(FRESH, state=NoticeState.PARKED, trouble="refused for good"), "refused for good"),
        (replace(FRESH, created_ms=NOW_MS - 660_000), "waits for 11 min"),
        (replace(FRESH, state=NoticeState.HELD, created_ms=0, trouble="hushed"), None),
        (replace(FRESH, state=NoticeState.SENT, created_ms=0), None),
        (replace(FRESH, channel="old phone"), None),
        (replace(FRESH, channel="old phone", created_ms=NOW_MS - 660_000), "no channel of that name"),
    ],
)
def test_trouble_is_what_a_person_should_know_of(
    sqlite_store: Store, notice: Notice, why: str | None
) -> None:
    found = troubles(sqlite_store, notice)
    if why is None:
        assert found == {}
    else:
        assert why in found[notice.channel]


def test_the_worst_of_a_channel_speaks_for_it_and_all_are_counted(sqlite_store: Store) -> None:
    tried = replace(FRESH, attempts=5, trouble="no line")
    parked = replace(FRESH, notice_id="b", state=NoticeState.PARKED, trouble="gave up")
    other = replace(FRESH, notice_id="c", channel="mail", attempts=3, trouble="HTTP status 500")
    assert troubles(sqlite_store, tried, parked, other) == {"console": "gave up", "mail": "HTTP status 500"}
