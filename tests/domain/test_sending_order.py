"""Of one need nothing is sent before what comes before it; else the most urgent goes first."""

from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from traywarden.domain.episodes import ChangeKind
from traywarden.domain.notices import Notice, NoticeState
from traywarden.domain.sending_order import in_order, moments, overtaken
from traywarden.domain.severities import SEVERITIES

OPENED, CLOSED, PAST = ChangeKind.OPENED, ChangeKind.CLOSED, ChangeKind.PAST


def notice(
    name: str,
    *changes: tuple[str, ChangeKind],
    severity: str = "info",
    attempts: int = 0,
    made_ms: int = 0,
    due_ms: int = 0,
) -> Notice:
    return Notice(
        name, "mail", severity, name, "", changes, made_ms, NoticeState.WAITING, attempts, next_try_ms=due_ms
    )


def names(found: list[Notice]) -> list[str]:
    return [n.notice_id for n in found]


def test_the_end_of_an_earlier_episode_goes_before_the_urgent_beginning_of_the_next() -> None:
    end = notice("end", ("dry:tray-1:10", CLOSED), made_ms=20)
    again = notice("again", ("dry:tray-1:30", OPENED), severity="urgent", made_ms=40)
    frost = notice("frost", ("frost:place-1:30", OPENED), severity="urgent", made_ms=50)
    warm = notice("warm", ("hot:tray-1:30", OPENED), severity="warning", made_ms=1)
    assert names(in_order([again, warm, frost, end], 100)) == ["end", "again", "frost", "warm"]


def test_what_must_go_first_is_due_as_soon_as_what_follows_it() -> None:
    end = notice("end", ("dry:tray-1:10", CLOSED), attempts=3, due_ms=5_000)
    again = notice("again", ("dry:tray-1:30", OPENED), severity="urgent")
    assert names(in_order([again, end], 100)) == ["end", "again"]


def test_to_find_out_whether_one_notice_is_the_trouble_the_least_tried_goes_first() -> None:
    end = notice("end", ("dry:tray-1:10", CLOSED), attempts=3)
    again = notice("again", ("dry:tray-1:30", OPENED), severity="urgent")
    other = notice("other", ("cold:tray-2:30", CLOSED))
    assert names(in_order([again, end, other], 100)) == ["end", "again", "other"]
    assert names(in_order([again, end, other], 100, least_tried=True)) == ["other", "end", "again"]


def test_what_is_refused_by_itself_keeps_nothing_waiting_goes_last_and_is_overtaken() -> None:
    end = notice("end", ("dry:tray-1:10", CLOSED), attempts=9)
    again = notice("again", ("dry:tray-1:30", OPENED), severity="urgent")
    later = notice("later", ("dry:tray-1:30", CLOSED))
    assert names(in_order([again, end], 100, {"end"})) == ["again", "end"]
    assert names(overtaken(again, [end, later])) == ["end"]


def test_a_digest_of_the_past_holds_up_nothing() -> None:
    past = notice("past", ("dry:tray-1:10", PAST), made_ms=1)
    again = notice("again", ("dry:tray-1:30", OPENED))
    assert names(in_order([past, again], 100)) == ["again", "past"]


def test_two_notices_that_each_should_go_first_are_both_sent() -> None:
    one = notice("one", ("dry:tray-1:10", OPENED), ("dry:tray-2:30", OPENED))
    two = notice("two", ("dry:tray-1:30", OPENED), ("dry:tray-2:10", OPENED))
    assert sorted(names(in_order([one, two], 100))) == ["one", "two"]


@pytest.mark.filterwarnings("error")
@given(
    st.lists(
        st.tuples(
            st.sampled_from(["dry:tray-1", "dry:tray-2", "cold:tray-1"]),
            st.sampled_from([OPENED, CLOSED]),
            st.sampled_from(SEVERITIES),
            st.integers(0, 3),
            st.sampled_from([0, 500]),
        ),
        max_size=12,
    )
)
def test_whatever_waits_the_order_of_each_need_holds_and_what_is_due_goes(
    rows: list[tuple[str, ChangeKind, str, int, int]],
) -> None:
    waiting = [
        notice(
            f"n{number:02}",
            (f"{need}:{number // 2 * 10}", kind),
            severity=severity,
            attempts=attempts,
            made_ms=number,
            due_ms=due_ms,
        )
        for number, (need, kind, severity, attempts, due_ms) in enumerate(rows)
    ]
    found = in_order(waiting[::-1], 100)
    assert len({n.notice_id for n in found}) == len(found)
    assert {n.notice_id for n in found} >= {n.notice_id for n in waiting if n.next_try_ms <= 100}
    for need in {row[0] for row in rows}:
        mine = [moments(n)[need] for n in found if need in moments(n)]
        assert mine == sorted(mine)
        whole = sorted(moments(n)[need] for n in waiting if need in moments(n))
        assert mine == whole[: len(mine)], "none that comes before is left out"
    alone = [n for n in found if sum(row[0] == rows[int(n.notice_id[1:])][0] for row in rows) == 1]
    for first, second in pairwise(alone):
        assert SEVERITIES.index(first.severity) >= SEVERITIES.index(second.severity)
