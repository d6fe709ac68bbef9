"""What could not be read is kept, once, with the reason."""

from traywarden.store import quarantine
from traywarden.store.store import Store


def test_a_message_is_kept_with_topic_reason_and_bytes(store: Store) -> None:
    with store.write() as tx:
        quarantine.put(tx, "t/1", b"\x00\xff[", "not JSON", at_ms=5)
        (kept,) = quarantine.listed(tx, 10)
    assert (kept.topic, kept.reason, kept.payload) == ("t/1", "not JSON", b"\x00\xff[")
    assert (kept.payload_bytes, kept.first_ms, kept.last_ms, kept.times) == (3, 5, 5, 1)


def test_the_same_message_again_only_counts_up(store: Store) -> None:
    with store.write() as tx:
        for at_ms in (5, 6, 7):
            quarantine.put(tx, "t/1", b"x", "bad", at_ms)
        quarantine.put(tx, "t/2", b"x", "bad", 8)
        quarantine.put(tx, "t/1", b"y", "bad", 9)
        assert quarantine.count(tx) == 3
        kept = quarantine.listed(tx, 2)
        assert [(q.topic, q.payload) for q in kept] == [("t/1", b"y"), ("t/2", b"x")]
        assert [(q.first_ms, q.last_ms, q.times) for q in quarantine.listed(tx, 9)][-1] == (5, 7, 3)


def test_of_a_huge_message_the_beginning_is_kept_and_told_apart_by_its_end(store: Store) -> None:
    with store.write() as tx:
        for end in (b"1", b"2"):
            quarantine.put(tx, "t", b"x" * 10_000_000 + end, "too long", 1)
        kept = quarantine.listed(tx, 10)
    assert [(len(q.payload), q.payload_bytes) for q in kept] == [(65_536, 10_000_001)] * 2


def test_hostile_topics_are_kept_in_a_form_the_database_can_hold(store: Store) -> None:
    with store.write() as tx:
        for topic in ("a\x00b", "\udcff", "'; DROP TABLE reading; --", "x" * 65_535):
            quarantine.put(tx, topic, b"", f"bad topic {topic}", 1)
        topics = {q.topic for q in quarantine.listed(tx, 10)}
    assert topics == {"a\ufffdb", "?", "'; DROP TABLE reading; --", "x" * 1000}
