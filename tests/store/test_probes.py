"""Probes make themselves known; their heads are numbered places."""

import pytest

from traywarden.errors import UnknownNameError
from traywarden.store import probes
from traywarden.store.store import Store


def test_heads_are_made_once_and_found_by_their_label(store: Store) -> None:
    with store.write() as tx:
        first = probes.ensure_heads(tx, [("b", 1), ("a", 0), ("a", 2)], at_ms=100)
        again = probes.ensure_heads(tx, [("a", 2), ("a", 3)], at_ms=200)
        assert again["a", 2] == first["a", 2]
        assert [head.label for head in probes.heads(tx)] == ["a/0", "a/2", "a/3", "b/1"]
        assert probes.head_labelled(tx, " a/2 ").head_id == first["a", 2]
        with pytest.raises(UnknownNameError, match="There is no head called “a/7”"):
            probes.head_labelled(tx, "a/7")


def test_a_probe_is_known_from_the_first_time_it_was_heard(store: Store) -> None:
    with store.write() as tx:
        probes.ensure_heads(tx, [("a", 1)], at_ms=100)
        probes.touch(tx, {"a": 500, "new": 300})
        probes.touch(tx, {"a": 400})
        found = probes.probe_named(tx, "a")
        assert (found.first_seen_ms, found.last_seen_ms) == (100, 500)
        assert probes.probe_named(tx, "new").first_seen_ms == 300
        with pytest.raises(UnknownNameError, match="did you mean “new”"):
            probes.probe_named(tx, "neww")


def test_the_newest_state_stands_and_an_older_one_that_comes_late_does_not(store: Store) -> None:
    with store.write() as tx:
        probes.set_state(tx, "a", {"power": "awake", "firmware": "1.2"}, at_ms=200)
        probes.set_state(tx, "a", {"power": "lost"}, at_ms=100)
        assert probes.probe_named(tx, "a").state == {"power": "awake", "firmware": "1.2"}
        probes.set_state(tx, "a", {"power": "asleep"}, at_ms=300)
        assert probes.probe_named(tx, "a").state == {"power": "asleep"}
        probes.ensure_heads(tx, [("silent", 1)], at_ms=1)
        assert probes.probe_named(tx, "silent").state == {}
