"""The inbox hands every message on once, in order, and holds the network thread when it is full."""

import threading

from traywarden.links.inbox import Inbox, Message


def _message(number: int, size: int = 1) -> Message:
    return Message("t", bytes(size), number, False, number)


def test_messages_come_out_in_order_and_once() -> None:
    inbox, taken = Inbox(), []
    for number in range(10):
        inbox.put(_message(number))
    while batch := inbox.take(3, wait_s=0):
        assert len(batch) <= 3
        taken += [message.mark for message in batch]
    assert taken == list(range(10))


def test_a_waiting_taker_is_woken_by_the_first_message() -> None:
    inbox, taken = Inbox(), []
    taker = threading.Thread(target=lambda: taken.extend(inbox.take(10)))
    taker.start()
    inbox.put(_message(1))
    taker.join(10)
    assert [message.mark for message in taken] == [1]


def test_taking_gives_up_after_the_wait_it_was_given() -> None:
    assert Inbox().take(10, wait_s=0.01) == []


def test_a_full_inbox_holds_its_putter_until_there_is_room() -> None:
    inbox = Inbox(most_messages=2)
    inbox.put(_message(1))
    inbox.put(_message(2))
    assert inbox.full
    went_on = threading.Event()

    def put() -> None:
        inbox.wait_for_room()
        went_on.set()

    putter = threading.Thread(target=put)
    putter.start()
    assert not went_on.wait(0.05)
    assert len(inbox.take(1)) == 1
    assert went_on.wait(10)
    putter.join()


def test_bytes_fill_the_inbox_as_messages_do() -> None:
    inbox = Inbox(most_bytes=100)
    full = []
    for size in (99, 1):
        inbox.put(_message(size, size=size))
        full.append(inbox.full)
    inbox.take(1)
    assert [*full, inbox.full] == [False, True, False]


def test_after_the_end_the_taker_gets_what_is_left_and_nothing_more_goes_in() -> None:
    inbox = Inbox(most_messages=1)
    inbox.put(_message(1))
    inbox.close()
    inbox.wait_for_room()  # does not hold anyone any more
    inbox.put(_message(2))
    assert [message.mark for message in inbox.take(10)] == [1]
    assert inbox.take(10) == []


def test_nothing_is_lost_between_a_fast_putter_and_a_fast_taker() -> None:
    inbox = Inbox(most_messages=50)
    taken: list[int] = []

    def take() -> None:
        while batch := inbox.take(7):
            taken.extend(message.mark for message in batch)

    taker = threading.Thread(target=take)
    taker.start()
    for number in range(20_000):
        inbox.put(_message(number))
        inbox.wait_for_room()
    inbox.close()
    taker.join(30)
    assert taken == list(range(20_000))
