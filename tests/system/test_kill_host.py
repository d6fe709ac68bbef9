"""The host is killed at random moments while clients publish; afterwards every reading is there once.

TRAYWARDEN_KILLS says how often (default 50), TRAYWARDEN_SEED repeats a run.
"""

import contextlib
import os
import random
import sqlite3
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager
from pathlib import Path

import paho.mqtt.client as paho
import pytest
from paho.mqtt.enums import CallbackAPIVersion

from tests.system.brokers import free_port, mosquitto
from tests.system.hosts import HostProcess, Nursery, made_home
from traywarden.domain.readings import Reading
from traywarden.links.publisher import ProbePublisher
from traywarden.store.store import Store
from traywarden.wire import packs, topics

KILLS = int(os.environ.get("TRAYWARDEN_KILLS", "50"))
CLIENTS = 4
READINGS = 20_000
PER_CLIENT = READINGS // CLIENTS
PER_PACK = 4
BOOT = 5
START_MS = 1_750_000_000_000
pytestmark = [pytest.mark.system, pytest.mark.timeout(900)]


def _reading(client: int, sequence: int) -> Reading:
    """A reading whose values say which one it is."""
    return Reading(
        f"probe-{client}",
        1,
        BOOT,
        sequence,
        START_MS + sequence * 60_000 + client,
        0,
        soil_temp_c=sequence % 4000 / 100,
        moisture_v=1 + client / 10,
    )


class _Quota:
    """How much each client may have published by now: the publishing lasts as long as the killing."""

    def __init__(self) -> None:
        self._changed = threading.Condition()
        self._part = 0.0

    def give(self, part: float) -> None:
        with self._changed:
            self._part = part
            self._changed.notify_all()

    def packs(self) -> Iterator[range]:
        """Sequences of one pack after another, each when it is time."""
        for first in range(0, PER_CLIENT, PER_PACK):
            with self._changed:
                self._changed.wait_for(lambda first=first: first < self._part * PER_CLIENT)  # type: ignore[misc]
            yield range(first, min(first + PER_PACK, PER_CLIENT))


def _publish_plainly(client: int, port: int, quota: _Quota) -> None:
    """A client that forgets a pack once the broker has acknowledged it."""
    talk = paho.Client(CallbackAPIVersion.VERSION2, client_id=f"probe-{client}", clean_session=False)
    talk.max_inflight_messages_set(100)
    talk.connect("127.0.0.1", port)
    talk.loop_start()
    for sequences in quota.packs():
        payload = packs.pack_from_readings([_reading(client, n) for n in sequences])
        sent = talk.publish(topics.readings_topic("demo", f"probe-{client}"), payload, qos=1)
    sent.wait_for_publish(60)
    while talk._out_messages:
        time.sleep(0.01)
    talk.disconnect()
    talk.loop_stop()


def _publisher(client: int, port: int) -> ProbePublisher:
    return ProbePublisher(
        "127.0.0.1",
        port,
        readings_topic=topics.readings_topic("demo", f"probe-{client}"),
        receipt_topic=topics.receipt_topic("demo", f"probe-{client}"),
        encode=lambda readings, oldest: packs.pack_from_readings(readings, oldest=oldest),
        client_id=f"probe-{client}",
        instants_per_pack=PER_PACK,
        silence_s=2.0,
        longest_backoff_s=0.1,  # back before the next kill
    )


def _feed(publisher: ProbePublisher, client: int, quota: _Quota) -> None:
    for sequences in quota.packs():
        publisher.send([_reading(client, n) for n in sequences])


def _kill_again_and_again(home: Path, quota: _Quota, nursery: Nursery) -> list[int]:
    """Start and kill the host KILLS times; how many rows were stored at each kill.

    One kill in five comes while it starts, one at any moment of its first half second, and three as soon
    as it is storing: there it hurts most, and a slow machine gets there late.
    """
    seed = int(os.environ.get("TRAYWARDEN_SEED", random.randrange(1 << 32)))
    print(f"TRAYWARDEN_SEED={seed} repeats this run")
    chance = random.Random(seed)
    host = HostProcess(home, nursery=nursery)
    stored = [0]
    for turn in range(KILLS):
        quota.give((turn + 0.5) / KILLS)
        host.spawn()
        kind = chance.randrange(5)
        if kind == 0:
            time.sleep(chance.uniform(0, 0.3))
        else:
            host.wait_until_started()
            quota.give((turn + 1) / KILLS)
            if kind == 1:
                time.sleep(chance.uniform(0, 0.5))
            else:
                _wait_until(lambda: _count(home) > stored[-1], 3.0)
                time.sleep(chance.uniform(0, 0.05))
        host.kill()
        stored.append(_count(home))
    quota.give(1.0)
    return stored


def _wait_until(holds: Callable[[], bool], timeout_s: float) -> None:
    until_s = time.monotonic() + timeout_s
    while not holds() and time.monotonic() < until_s:
        time.sleep(0.002)


def _count(home: Path) -> int:
    with contextlib.closing(sqlite3.connect(home / "traywarden.sqlite3")) as connection:
        count: int = connection.execute("SELECT count(*) FROM reading").fetchone()[0]
        return count


def _rows(home: Path) -> list[tuple[object, ...]]:
    with Store.open(f"sqlite:///{home / 'traywarden.sqlite3'}") as store, store.read() as tx:
        found = tx.exec_driver_sql(
            "SELECT name, number, boot, sequence, time_ms, soil_temp_c, moisture_v "
            "FROM reading JOIN head USING (head_id) JOIN probe USING (probe_id)"
        )
        return [tuple(row) for row in found]


@contextmanager
def _in_threads(works: list[threading.Thread]) -> Iterator[None]:
    for work in works:
        work.start()
    yield
    for work in works:
        work.join()


def _check(home: Path, stored: list[int], capsys: pytest.CaptureFixture[str]) -> None:
    rows = _rows(home)
    expected = {
        (r.probe, r.head, r.boot, r.sequence, r.time_ms, r.soil_temp_c, r.moisture_v)
        for client in range(CLIENTS)
        for r in (_reading(client, n) for n in range(PER_CLIENT))
    }
    lost, doubled = len(expected - set(rows)), len(rows) - len({row[:4] for row in rows})
    with capsys.disabled():
        print(
            f"\n{KILLS} kills, {READINGS:,} readings: {lost} lost, {doubled} doubled; "
            f"{len(set(stored))} kills found a different number of rows"
        )
    assert lost == 0
    assert doubled == 0
    assert len(rows) == len(expected)
    # else the kills came when nothing was under way, and prove nothing
    assert len(set(stored)) > KILLS * 0.4


@pytest.fixture(scope="module")
def nursery() -> Iterator[Nursery]:
    with Nursery() as made:
        yield made


def test_nothing_is_lost_or_doubled_through_mosquitto(
    tmp_path: Path, nursery: Nursery, capsys: pytest.CaptureFixture[str]
) -> None:
    """Publishers forget what the broker has acknowledged; the host is killed again and again."""
    with mosquitto(tmp_path / "broker") as broker:
        home = tmp_path / "home"
        made_home(home, broker__builtin=False, broker__port=broker.port)
        with HostProcess(home, lean=True) as first:  # makes the lasting session
            assert first.end() == 0
        quota = _Quota()
        works = [
            threading.Thread(target=_publish_plainly, args=(client, broker.port, quota))
            for client in range(CLIENTS)
        ]
        with _in_threads(works):
            stored = _kill_again_and_again(home, quota, nursery)
        with HostProcess(home, lean=True) as last:
            _wait_until(lambda: _count(home) >= READINGS, 120.0)
            assert last.end() == 0
    _check(home, stored, capsys)


def test_nothing_is_lost_or_doubled_through_the_builtin_broker(
    tmp_path: Path, nursery: Nursery, capsys: pytest.CaptureFixture[str]
) -> None:
    """The broker dies with the host; publishers send again what was not receipted."""
    home, port = tmp_path / "home", free_port()
    made_home(home, broker__port=port)
    quota = _Quota()
    with ExitStack() as stack:
        publishers = [stack.enter_context(_publisher(n, port)) for n in range(CLIENTS)]
        with HostProcess(home, lean=True) as first:
            for publisher in publishers:
                publisher.connect()
            first.kill()
        works = [
            threading.Thread(target=_feed, args=(publisher, client, quota))
            for client, publisher in enumerate(publishers)
        ]
        with _in_threads(works):
            stored = _kill_again_and_again(home, quota, nursery)
        with HostProcess(home, lean=True) as last:
            for publisher in publishers:
                assert publisher.drain(120), f"{publisher.unreceipted} not receipted: {publisher.trouble}"
            assert last.end() == 0
    _check(home, stored, capsys)
