"""Rule states and episodes on both databases."""

from dataclasses import replace

from tests.store.sample import START_MS, STEP_MS, reading
from traywarden.domain.episodes import Episode, RuleState
from traywarden.domain.readings import Reading
from traywarden.domain.rules import Answer
from traywarden.domain.subjects import HOST, Subject, a_tray
from traywarden.store import episodes, garden, probes, readings
from traywarden.store.store import Store


def trays(store: Store, *names: str) -> list[Subject]:
    with store.write() as tx:
        return [a_tray(garden.add_tray(tx, name).tray_id) for name in names]


def test_states_are_kept_per_rule_and_subject_and_replaced(store: Store) -> None:
    a, b = trays(store, "A", "B")
    first = RuleState(100, 50, None, 99, Answer.YES, "dry as dust")
    with store.write() as tx:
        episodes.set_rule_states(tx, {("dry", a): (first, {"x": 1}), ("dry", b): (RuleState(1), {})})
        episodes.set_rule_states(tx, {("cold", a): (RuleState(5), {})})
    second = replace(first, judged_to_ms=200, open_since_ms=None, run_since_ms=150, answer=Answer.HOLD)
    with store.write() as tx:
        episodes.set_rule_states(tx, {("dry", a): (second, {"x": 2})})
        episodes.set_rule_states(tx, {})
    with store.read() as tx:
        assert episodes.rule_states(tx) == {
            ("dry", a): (second, {"x": 2}),
            ("dry", b): (RuleState(1), {}),
            ("cold", a): (RuleState(5), {}),
        }


def test_an_episode_is_kept_once_and_changed_in_place(store: Store) -> None:
    (a,) = trays(store, "A")
    opened = Episode("dry:tray-1:100", "dry", a, 100, None, {"moisture_m3_m3": 0.2, "mix": "Erde"})
    closed = replace(opened, closed_ms=300)
    with store.write() as tx:
        episodes.keep_episode(tx, opened)
        episodes.keep_episode(tx, closed)
        episodes.keep_episode(tx, Episode("disk:host:200", "disk", HOST, 200))
    with store.read() as tx:
        assert [e.episode_id for e in episodes.episodes(tx)] == ["disk:host:200", "dry:tray-1:100"]
        assert episodes.episodes(tx, rule="dry", subject=a) == [closed]
        assert [e.episode_id for e in episodes.episodes(tx, open_only=True)] == ["disk:host:200"]
        assert len(episodes.episodes(tx, limit=1)) == 1
        assert episodes.episodes_named(tx, ["dry:tray-1:100", "nothing"]) == {"dry:tray-1:100": closed}


def test_readings_that_came_in_late_are_found_by_when_they_were_received(store: Store) -> None:
    with store.write() as tx:
        readings.insert(tx, [reading(n) for n in range(10)])
        late = replace_received(reading(4, head=2), START_MS + 100 * STEP_MS)
        readings.insert(tx, [late])
        heads = [h.head_id for h in probes.heads(tx)]
    since, end = START_MS + 50 * STEP_MS, START_MS + 9 * STEP_MS
    with store.read() as tx:
        assert episodes.earliest_received_since(tx, heads, since, 0, end) == START_MS + 4 * STEP_MS
        assert episodes.earliest_received_since(tx, heads, since, 0, START_MS) is None
        assert episodes.earliest_received_since(tx, [], since, 0, end) is None
        assert episodes.earliest_received_since(tx, heads, since + 100 * STEP_MS, 0, end) is None


def replace_received(row: Reading, received_ms: int) -> Reading:
    return row._replace(received_ms=received_ms)
