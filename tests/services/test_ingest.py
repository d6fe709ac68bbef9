"""What arrives is stored once, then acknowledged; what cannot be read is set aside with its reason."""

import json
import shutil
import threading
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from traywarden.domain.readings import Reading
from traywarden.errors import StoreBusyError, StoreError, StoreFullError
from traywarden.links.inbox import Inbox, Message
from traywarden.services.clock import ReadingsClock
from traywarden.services.ingest import Committed, Ingest, wanted
from traywarden.settings import load
from traywarden.store import probes, quarantine, readings
from traywarden.store.store import Store, Tx
from traywarden.wire import packs

START_MS = 1_750_000_000_000
RECEIVED_MS = START_MS + 86_400_000


class _Link:
    """Notes what is acknowledged and published, and what was stored by then."""

    address, alive = ("", 0), True

    def __init__(self, store: Store) -> None:
        self.store = store
        self.acknowledged: list[Any] = []
        self.rows_then: list[int] = []
        self.receipts: list[tuple[str, packs.Receipt]] = []
        self.times: list[tuple[str, dict[str, int]]] = []

    def start(self) -> None: ...
    def stop(self) -> None: ...

    def acknowledge(self, messages: Sequence[Message]) -> None:
        self.acknowledged += [message.mark for message in messages]
        with self.store.read() as tx:
            self.rows_then.append(readings.count(tx))

    def publish(self, topic: str, payload: bytes, *, retain: bool = False) -> None:
        if b"time_ms" in payload:
            self.times.append((topic, json.loads(payload)))
        else:
            self.receipts.append((topic, packs.read_receipt(payload)))


class _Bench:
    """An ingest over a real store, fed by hand."""

    def __init__(self, store: Store, **settings: object) -> None:
        self.store, self.inbox, self.link = store, Inbox(), _Link(store)
        self.said: list[str] = []
        self.committed: list[Committed] = []
        self.clock = ReadingsClock()
        loaded = load(
            Path("/nowhere"), environ={}, overrides={k.replace("__", "."): v for k, v in settings.items()}
        )
        self.ingest = Ingest(
            store,
            self.link,
            self.inbox,
            "demo",
            loaded,
            self.clock,
            after_commit=self.committed.append,
            say=self.said.append,
        )
        self._marks = 0

    def put(self, payload: bytes, topic: str = "traywarden/v1/demo/bench-1/readings") -> None:
        self._marks += 1
        self.inbox.put(Message(topic, payload, RECEIVED_MS, False, self._marks))

    def run(self) -> None:
        """Take in everything that was put, and end."""
        self.inbox.close()
        self.ingest.run()
        assert self.link.acknowledged == list(range(1, self._marks + 1))

    def rows(self) -> list[tuple[Any, ...]]:
        with self.store.read() as tx:
            found = tx.exec_driver_sql(
                "SELECT name, number, boot, sequence, time_ms, soil_temp_c FROM reading "
                "JOIN head USING (head_id) JOIN probe USING (probe_id) ORDER BY 1, 2, 3, 4"
            )
            return [tuple(row) for row in found]

    def reasons(self) -> list[str]:
        with self.store.read() as tx:
            return [kept.reason for kept in reversed(quarantine.listed(tx))]


def _pack(*sequences: int, oldest: int | None = None, boot: int = 3) -> bytes:
    rows = [Reading("bench-1", 1, boot, n, START_MS + n * 1000, 0, soil_temp_c=n / 10) for n in sequences]
    return packs.pack_from_readings(rows, oldest=oldest)


def _row(sequence: int) -> tuple[Any, ...]:
    return ("bench-1", 1, 3, sequence, START_MS + sequence * 1000, sequence / 10)


@pytest.fixture
def bench(sqlite_store: Store) -> _Bench:
    return _Bench(sqlite_store)


def test_a_pack_is_stored_then_acknowledged_then_receipted(bench: _Bench) -> None:
    bench.put(_pack(0, 1, oldest=0))
    bench.run()
    assert bench.rows() == [_row(0), _row(1)]
    assert bench.link.rows_then == [2]
    assert bench.link.receipts == [("traywarden/v1/demo/bench-1/receipt", packs.Receipt(3, 1))]
    assert bench.committed == [Committed({1: START_MS + 1000}, 2, {1: START_MS}, 1)]
    assert bench.clock.now_ms() == START_MS + 1000


def test_a_reading_from_the_future_is_kept_but_sets_no_clock(bench: _Bench) -> None:
    future = START_MS + 2 * 86_400_000  # a day later than it arrives
    bench.put(_pack(1))
    bench.put(packs.pack_from_readings([Reading("bench-1", 1, 3, 2, future, 0, soil_temp_c=0.2)]))
    bench.run()
    assert [row[4] for row in bench.rows()] == [START_MS + 1000, future]
    assert bench.clock.now_ms() == START_MS + 1000


def test_redelivered_and_overlapping_packs_change_nothing(bench: _Bench) -> None:
    for pack in (_pack(0, 1), _pack(1, 2), _pack(0, 1), _pack(2, 1)):
        bench.put(pack)
    bench.run()
    assert bench.rows() == [_row(0), _row(1), _row(2)]
    assert sum(committed.rows for committed in bench.committed) == 3


def test_one_commit_gives_one_receipt_for_each_boot_of_each_probe(bench: _Bench) -> None:
    for n in range(10):
        bench.put(_pack(n, oldest=0))
    bench.put(_pack(0, oldest=0, boot=4))
    bench.run()
    assert sorted(receipt for _, receipt in bench.link.receipts) == [(3, 9), (4, 0)]


def test_a_sensor_without_numbers_gets_no_receipt_and_is_stored_once(bench: _Bench) -> None:
    pack = b'[{"bt":1750000000,"n":"1/soil_temperature","u":"Cel","v":21.5}]'
    bench.put(pack)
    bench.put(pack)
    bench.run()
    assert bench.rows() == [("bench-1", 1, -1, START_MS, START_MS, 21.5)]
    assert bench.link.receipts == []


@pytest.mark.parametrize(
    ("topic", "payload", "reason"),
    [
        ("traywarden/v1/demo/bench-1/readings", b"not json", "not SenML JSON"),
        ("traywarden/v1/demo/bench-1/readings", b"", "not SenML JSON"),
        ("traywarden/v1/demo/bench-1/readings", b"\xff\xfe", "not SenML JSON"),
        (
            "traywarden/v1/demo/bench-1/readings",
            b'[{"bt":1750000000,"n":"1/soil_temperature","u":"Cel","v":NaN}]',
            "not SenML JSON",
        ),
        (
            "traywarden/v1/demo/bench-1/readings",
            b'[{"bt":1750000000,"n":"1/soil_temperature","u":"%RH","v":20}]',
            "send soil temperature in 'Cel'",
        ),
        ("traywarden/v1/demo/bench-1/readings", b"[" + b" " * 300_000 + b"]", "at most 262144 are read"),
        ("traywarden/v1/other/bench-1/readings", b"[]", "this host keeps “demo”"),
        ("traywarden/v1/demo/../readings", b"[]", "cannot stand in a topic"),
        ("traywarden/v1/demo/'; drop table reading; --/readings", b"[]", "cannot stand in a topic"),
        ("traywarden/v1/demo/a/b/readings", b"[]", "not one of ours"),
        ("traywarden/v1/" + "x" * 60_000 + "/a/readings", b"[]", "not one of ours"),
        ("traywarden/v1/demo/bench-1/state", b"[1]", "not a JSON object"),
        ("traywarden/v1/demo/bench-1/state", b'{"a":"' + b"x" * 9_000 + b'"}', "send at most 8192"),
        ("traywarden/v1/demo/bench-1/state", b'{"a":' * 3_000 + b"1" + b"}" * 3_000, "state is"),
    ],
)
def test_what_cannot_be_read_is_set_aside_with_its_reason_and_stops_nobody(
    bench: _Bench, topic: str, payload: bytes, reason: str
) -> None:
    bench.put(_pack(0))
    bench.put(payload, topic)
    bench.put(_pack(1))
    bench.run()
    assert bench.rows() == [_row(0), _row(1)]
    assert len(bench.reasons()) == 1
    assert reason in bench.reasons()[0]
    assert bench.said == []


def test_the_state_of_a_probe_is_kept_and_an_empty_one_changes_nothing(bench: _Bench) -> None:
    bench.put(b'{"state":"asleep","firmware":"1.2"}', "traywarden/v1/demo/bench-1/state")
    bench.put(b"", "traywarden/v1/demo/bench-1/state")
    bench.run()
    with bench.store.read() as tx:
        assert probes.probe_named(tx, "bench-1").state == {"state": "asleep", "firmware": "1.2"}
    assert bench.reasons() == []


def test_times_in_the_future_and_of_1970_are_kept_for_the_flags_to_tell(bench: _Bench) -> None:
    bench.put(b'[{"bt":4102444800,"n":"1/soil_temperature","u":"Cel","v":20}]')
    bench.put(b'[{"bt":300000000,"n":"1/soil_temperature","u":"Cel","v":20}]')
    bench.run()
    assert [row[4] for row in bench.rows()] == [300_000_000_000, 4_102_444_800_000]


def test_no_batch_is_larger_than_the_setting_by_more_than_a_message(sqlite_store: Store) -> None:
    bench = _Bench(sqlite_store, store__batch_rows=10)
    for n in range(0, 100, 4):
        bench.put(_pack(n, n + 1, n + 2, n + 3))
    bench.run()
    assert len(bench.rows()) == 100
    assert max(committed.rows for committed in bench.committed) <= 13


def _failing(
    bench: _Bench, monkeypatch: pytest.MonkeyPatch, fails: Callable[[Sequence[Reading]], None]
) -> None:
    insert = readings.insert

    def checked(tx: Tx, rows: Sequence[Reading]) -> int:
        fails(rows)
        return insert(tx, rows)

    monkeypatch.setattr("traywarden.services.ingest.reading_store.insert", checked)


@pytest.mark.parametrize("error", [OverflowError("int too large"), StoreError("refused"), ValueError("x")])
def test_a_reading_the_store_will_not_take_is_found_and_set_aside(
    bench: _Bench, monkeypatch: pytest.MonkeyPatch, error: Exception
) -> None:
    """One bad message among a hundred must not hold up the others for ever."""

    def fails(rows: Sequence[Reading]) -> None:
        if any(row.sequence == 41 for row in rows):
            raise error

    _failing(bench, monkeypatch, fails)
    for n in range(100):
        bench.put(_pack(n, oldest=0))
    bench.run()
    assert bench.rows() == [_row(n) for n in range(100) if n != 41]
    assert len(bench.reasons()) == 1
    assert str(error) in bench.reasons()[0]
    assert max(receipt.sequence for _, receipt in bench.link.receipts) == 40


@pytest.mark.parametrize("error", [StoreBusyError("It is locked."), StoreFullError("It is full.")])
def test_a_store_in_trouble_is_waited_for_and_spoken_of_once(
    bench: _Bench, monkeypatch: pytest.MonkeyPatch, error: StoreError
) -> None:
    monkeypatch.setattr("traywarden.services.ingest._FIRST_RETRY_S", 0.001)
    tries = []

    def fails(rows: Sequence[Reading]) -> None:
        tries.append(list(bench.link.acknowledged))
        if len(tries) < 5:
            raise error

    _failing(bench, monkeypatch, fails)
    bench.put(_pack(0))
    bench.put(b"not json")
    bench.run()
    assert bench.rows() == [_row(0)]
    assert tries == [[]] * 5  # nothing was acknowledged before it was stored
    assert len(bench.said) == 2
    assert str(error) in bench.said[0]
    assert bench.said[1] == "The store takes readings again."


def test_a_host_that_ends_while_the_store_is_in_trouble_acknowledges_nothing(
    bench: _Bench, monkeypatch: pytest.MonkeyPatch
) -> None:
    """What is not acknowledged comes again at the next start."""

    def fails(rows: Sequence[Reading]) -> None:
        raise StoreFullError("It is full.")

    _failing(bench, monkeypatch, fails)
    bench.put(_pack(0))
    storing = threading.Thread(target=bench.ingest.run)
    storing.start()
    bench.inbox.close()
    bench.ingest.end()
    storing.join(30)
    assert not storing.is_alive()
    assert bench.link.acknowledged == []


@pytest.mark.parametrize(
    ("topic", "is_wanted"),
    [
        ("traywarden/v1/demo/bench-1/readings", True),
        ("traywarden/v1/demo/bench-1/state", True),
        ("traywarden/v1/a/b/c/readings", True),  # to be set aside
        ("traywarden/v1/demo/bench-1/receipt", False),
        ("traywarden/v1/demo/bench-1/settings", False),
        ("elsewhere/readings", False),
    ],
)
def test_the_host_wants_readings_and_states_and_nothing_else(topic: str, is_wanted: bool) -> None:
    assert wanted(topic) is is_wanted


def test_a_probe_that_asks_what_time_it_is_is_told_when_its_question_came(bench: _Bench) -> None:
    topic = "traywarden/v1/demo/bench-1/state"
    bench.put(b'{"state":"asleep","firmware":"1.2"}', topic)
    bench.put(b'{"state":"awake","asks_time":41}', topic)
    bench.put(b'{"state":"awake","asks_time":"x"}', topic)
    bench.run()
    assert bench.link.times == [("traywarden/v1/demo/bench-1/receipt", {"asked": 41, "time_ms": RECEIVED_MS})]
    with bench.store.read() as tx:
        assert probes.probe_named(tx, "bench-1").state == {"state": "asleep", "firmware": "1.2"}


def test_the_newest_alone_gets_no_receipt_that_reaches_over_what_is_held_back(sqlite_store: Store) -> None:
    """A probe shows its newest reading while the rest waits for a date; it says that it holds the first."""
    bench = _Bench(sqlite_store, store__batch_rows=1)
    bench.put(_pack(50, oldest=1))
    for first in (1, 25):
        bench.put(_pack(*range(first, first + 24), oldest=first))
    bench.put(_pack(49, oldest=49))
    bench.run()
    assert [receipt.sequence for _, receipt in bench.link.receipts] == [24, 48, 50]


@pytest.fixture(scope="module")
def empty(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A store with its tables: copying it is quicker than making one for every example."""
    path = tmp_path_factory.mktemp("empty") / "store.sqlite3"
    Store.open(f"sqlite:///{path}").close()
    return path


@contextmanager
def _fresh(folder: Path, empty: Path) -> Iterator[_Bench]:
    shutil.copyfile(empty, folder / "store.sqlite3")
    with Store.open(f"sqlite:///{folder}/store.sqlite3") as store:
        yield _Bench(store)


@given(
    deliveries=st.lists(
        st.lists(st.integers(0, 20), min_size=1, max_size=5, unique=True), min_size=1, max_size=12
    ),
    data=st.data(),
)
def test_any_order_and_any_overlap_give_the_same_tables(
    tmp_path_factory: pytest.TempPathFactory, empty: Path, deliveries: list[list[int]], data: st.DataObject
) -> None:
    tables = []
    for order in (deliveries, data.draw(st.permutations(deliveries + deliveries[:3]))):
        with _fresh(tmp_path_factory.mktemp("order"), empty) as bench:
            for sequences in order:
                bench.put(_pack(*sequences))
            bench.run()
            tables.append(bench.rows())
    assert tables[0] == tables[1] == [_row(n) for n in sorted({n for d in deliveries for n in d})]
