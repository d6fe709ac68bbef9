"""Shared answers: the last one while new readings are worked in, a fresh one after a deed."""

import threading

import pytest

from traywarden.errors import ShortOfDataError, StoreError
from traywarden.web.answers import FRESH_S, LONG_FRESH_S, MOST_KEPT, STALE_S, Answers


class _Asked:
    def __init__(self) -> None:
        self.times = 0
        self.again = threading.Event()

    def __call__(self) -> int:
        self.times += 1
        if self.times > 1:
            self.again.set()
        return self.times


@pytest.fixture
def clock() -> list[float]:
    return [0.0]


@pytest.fixture
def answers(clock: list[float]) -> Answers:
    return Answers(lambda: clock[0])


def test_an_answer_is_worked_out_once_while_nothing_changed(answers: Answers) -> None:
    asked = _Asked()
    assert [answers.ask("q", asked) for _ in range(5)] == [1] * 5


def test_after_a_deed_the_next_page_waits_for_the_new_answer(answers: Answers) -> None:
    asked = _Asked()
    answers.ask("q", asked)
    answers.written()
    assert answers.ask("q", asked) == 2


def test_what_a_deed_does_not_show_in_need_not_be_waited_for(answers: Answers) -> None:
    asked = _Asked()
    answers.ask("q", asked, waits=False)
    answers.written()
    assert answers.ask("q", asked, waits=False) == 1
    assert asked.again.wait(10)
    answers.close()
    assert answers.ask("q", asked) == 2


def test_after_readings_the_last_answer_is_shown_and_the_next_worked_out_behind(answers: Answers) -> None:
    asked = _Asked()
    answers.ask("q", asked)
    answers.readings_came()
    assert answers.ask("q", asked) == 1
    assert asked.again.wait(10)
    answers.close()
    assert answers.ask("q", asked) == 2


def test_when_the_next_answer_is_there_open_pages_are_told(answers: Answers, clock: list[float]) -> None:
    asked, told = _Asked(), threading.Event()
    answers.renewed = told.set
    answers.ask("q", asked)
    answers.readings_came()
    assert answers.ask("q", asked) == 1
    assert told.wait(10)
    assert answers.ask("q", asked) == 2


def test_an_answer_renewed_for_its_age_alone_is_no_news(answers: Answers, clock: list[float]) -> None:
    asked, told = _Asked(), threading.Event()
    answers.renewed = told.set
    answers.ask("q", asked)
    clock[0] = FRESH_S + 1
    answers.ask("q", asked)
    answers.close()
    assert asked.times == 2
    assert not told.is_set()


def test_an_old_answer_is_renewed_and_a_very_old_one_not_shown(answers: Answers, clock: list[float]) -> None:
    asked = _Asked()
    answers.ask("q", asked)
    clock[0] = STALE_S + 1
    assert answers.ask("q", asked) == 2
    clock[0] += FRESH_S + 1
    assert answers.ask("q", asked) == 2
    answers.close()
    assert asked.times == 3


def test_what_cannot_be_answered_is_said_each_time_and_looked_for_once(answers: Answers) -> None:
    looked = []

    def short() -> int:
        looked.append(1)
        raise ShortOfDataError("Nothing was measured.")

    for _ in range(2):
        with pytest.raises(ShortOfDataError):
            answers.ask("q", short)
    assert len(looked) == 1
    answers.written()
    assert answers.ask("q", lambda: "now there is") == "now there is"


def test_a_store_that_did_not_answer_is_asked_again(answers: Answers) -> None:
    def away() -> str:
        raise StoreError("The store is away.")

    with pytest.raises(StoreError):
        answers.ask("q", away)
    assert answers.ask("q", lambda: "there again") == "there again"


def test_readings_that_make_a_question_answerable_are_worked_out_behind_its_refusal(answers: Answers) -> None:
    renewed = threading.Event()
    answers.renewed = renewed.set

    def short() -> str:
        raise ShortOfDataError("Nothing was measured.")

    with pytest.raises(ShortOfDataError):
        answers.ask("q", short)
    answers.readings_came()
    with pytest.raises(ShortOfDataError):
        answers.ask("q", lambda: "measured")
    assert renewed.wait(10)
    assert answers.ask("q", short) == "measured"


def test_a_deed_that_comes_while_an_answer_is_worked_out_is_not_lost(answers: Answers) -> None:
    def meanwhile() -> str:
        answers.written()
        return "before"

    assert answers.ask("q", meanwhile) == "before"
    assert answers.ask("q", lambda: "after") == "after"


def test_only_so_many_are_kept(answers: Answers) -> None:
    first = _Asked()
    answers.ask("first", first)
    for n in range(MOST_KEPT):
        answers.ask(n, lambda: 0)
    answers.ask("first", first)
    assert first.times == 2


def test_who_asks_for_it_gets_no_answer_older_than_so_long(answers: Answers, clock: list[float]) -> None:
    asked = _Asked()
    answers.ask("q", asked)
    clock[0] = FRESH_S - 0.1
    assert answers.ask("q", asked, stale_s=FRESH_S) == 1
    clock[0] = FRESH_S
    assert answers.ask("q", asked, stale_s=FRESH_S) == 2


def test_a_long_answer_is_not_waited_for_and_is_there_for_whoever_asks_next(answers: Answers) -> None:
    let, times = threading.Event(), []

    def long() -> str:
        times.append(1)
        assert let.wait(60)
        return "found"

    assert answers.at_hand("q", long, 0.01) is None
    assert answers.at_hand("q", long, 0.01) is None, "and it is not begun twice"
    let.set()
    assert answers.at_hand("q", long, 60) == "found"
    assert answers.at_hand("q", long, 0) == "found"
    assert len(times) == 1
    answers.written()
    assert answers.at_hand("q", lambda: "after the deed", 60) == "after the deed"


def test_a_long_answer_is_shown_while_readings_come_and_renewed_behind_when_it_is_old(
    answers: Answers, clock: list[float]
) -> None:
    asked = _Asked()
    assert answers.at_hand("q", asked, 60) == 1
    answers.readings_came()
    clock[0] = LONG_FRESH_S - 1
    assert answers.at_hand("q", asked, 0) == 1
    assert asked.times == 1
    clock[0] = 10 * LONG_FRESH_S
    assert answers.at_hand("q", asked, 0) == 1
    assert asked.again.wait(10)


def test_what_a_long_question_cannot_answer_is_said(answers: Answers) -> None:
    def short() -> int:
        raise ShortOfDataError("Nothing was measured.")

    for _ in range(2):
        with pytest.raises(ShortOfDataError):
            answers.at_hand("q", short, 60)
