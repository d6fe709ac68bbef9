"""Readings committed per second by the real host, against a paho subscriber that only counts.

Both have a lasting session on one mosquitto, which holds the same messages for each of them; nobody
publishes while they are taken in. So the ratio says what storing costs over merely receiving. Each side is
taken at its best round, the one that other programs on the machine disturbed least.
"""

import json
import statistics
import subprocess
import sys
import tempfile
import threading
import time
from pathlib import Path
from typing import Any

import paho.mqtt.client as paho
from paho.mqtt.enums import CallbackAPIVersion

from tests.system.brokers import Mosquitto, mosquitto
from tests.system.hosts import made_home
from traywarden.domain.journal import Kind
from traywarden.domain.readings import Reading
from traywarden.services.ingest import FILTERS
from traywarden.store import garden as garden_store
from traywarden.store import journal, probes, readings
from traywarden.store.store import Store
from traywarden.wire import packs, topics

PROBES = 8
MESSAGES = 40_000
ROUNDS = 3
LEAST_RATIO = 0.7
MOST_MIB = 200
START_MS = time.time_ns() // 1_000_000 - ROUNDS * MESSAGES * 1000
"""One reading a second up to now, so that the watch judges them as they come."""
_NULL = "null-subscriber"
_ROUND_TIMEOUT_S = 120


def _client(broker: Mosquitto, client_id: str) -> paho.Client:
    client = paho.Client(CallbackAPIVersion.VERSION2, client_id=client_id, clean_session=False)
    client.max_inflight_messages_set(1_000)
    client.connect(broker.host, broker.port)
    client.loop_start()
    return client


def _gone(client: paho.Client) -> None:
    client.disconnect()
    client.loop_stop()


def _make_session(broker: Mosquitto, client_id: str) -> None:
    client, subscribed = _client(broker, client_id), threading.Event()
    client.on_subscribe = lambda *_: subscribed.set()
    client.subscribe([(name, 1) for name in FILTERS])
    assert subscribed.wait(10)
    _gone(client)


def _publish(broker: Mosquitto, first: int, count: int) -> None:
    """Packs of four records: sequence, boot, soil temperature and moisture volts of one instant."""
    client = _client(broker, "publisher")
    info = None
    for number in range(first, first + count):
        probe = f"probe-{number % PROBES}"
        reading = Reading(
            probe,
            1,
            7,
            number // PROBES,
            START_MS + number * 1000,
            0,
            18.5 + number % 50 / 100,
            1.7 + number % 30 / 100,
        )
        payload = packs.pack_from_readings([reading], device_urn="urn:dev:mac:0011223344556677")
        assert len(json.loads(payload)) == 4
        info = client.publish(topics.readings_topic("demo", probe), payload, qos=1)
        if number % 5_000 == 0:
            info.wait_for_publish(60)
    assert info is not None
    info.wait_for_publish(60)
    while client.want_write() or client._out_messages:
        time.sleep(0.01)
    _gone(client)


def _null_per_s(broker: Mosquitto, count: int) -> float:
    """Messages per second that paho takes, with its own acknowledgement, from the first to the last."""
    client = paho.Client(CallbackAPIVersion.VERSION2, client_id=_NULL, clean_session=False)
    done, times = threading.Event(), [0.0, 0.0]
    seen = 0

    def on_message(_client: paho.Client, _userdata: Any, _message: paho.MQTTMessage) -> None:
        nonlocal seen
        if not seen:
            times[0] = time.perf_counter()
        seen += 1
        if seen == count:
            times[1] = time.perf_counter()
            done.set()

    client.on_message = on_message
    client.connect(broker.host, broker.port)
    client.loop_start()
    assert done.wait(_ROUND_TIMEOUT_S), f"the null subscriber got {seen} of {count}"
    _gone(client)
    return count / (times[1] - times[0])


_HOST = """
import json, sys, time, threading, resource
from pathlib import Path
import psutil
from traywarden import wiring
from traywarden.settings import load
count, done, last, commits, peak = int(sys.argv[2]), threading.Event(), [0], [0, 0], [0]
def on_commit(committed):
    commits[0] += committed.rows
    commits[1] += 1
    last[0] = time.time_ns() / 1e6
    if commits[0] >= count:
        done.set()
host = wiring.host(load(Path(sys.argv[1]), environ={}), on_commit=on_commit)
with host:
    assert done.wait(120), commits
    time.sleep(0.3)
    rss = psutil.Process().memory_info().rss
print(json.dumps({"cpu_s": time.process_time(), "last_ms": last[0], "commits": commits[1], "rss_bytes": rss,
                  "peak_bytes": resource.getrusage(resource.RUSAGE_SELF).ru_maxrss * 1024}))
"""


def _host_round(home: Path, store: Store, first: int, count: int) -> dict[str, float]:
    """Readings per second from the first message's receipt to the last commit, and resident memory."""
    told = subprocess.run(
        [sys.executable, "-c", _HOST, str(home), str(count)],
        stdout=subprocess.PIPE,
        timeout=_ROUND_TIMEOUT_S + 30,
        check=True,
    )
    said: dict[str, float] = json.loads(told.stdout.splitlines()[-1])
    with store.read() as tx:
        assert readings.count(tx) == first + count
        nth = "SELECT received_ms FROM reading ORDER BY received_ms DESC LIMIT 1 OFFSET ?"
        begun_ms = tx.exec_driver_sql(nth, (count - 1,)).scalar_one()
    said["per_s"] = count / ((said["last_ms"] - begun_ms) / 1000)
    return said


def _furnish(store: Store) -> None:
    """Every probe's head in a tray of its own, so that the watch has something to judge."""
    with store.write() as tx:
        bench = garden_store.add_place(tx, "bench", "open bench")
        mix = garden_store.add_mix(tx, "peat", {"peat": 1})
        ids = probes.ensure_heads(tx, [(f"probe-{n}", 1) for n in range(PROBES)], START_MS)
        for n in range(PROBES):
            tray = garden_store.add_tray(tx, f"tray {n}", cells=60)
            journal.write(tx, Kind.MOVED, START_MS, START_MS, tray_id=tray.tray_id, place_id=bench.place_id)
            journal.write(tx, Kind.FILLED, START_MS, START_MS, tray_id=tray.tray_id, mix_id=mix.mix_id)
            journal.write(
                tx, Kind.HEAD_PLACED, START_MS, START_MS, tray_id=tray.tray_id, head_id=ids[f"probe-{n}", 1]
            )


def run() -> dict[str, Any]:
    """Measure, print, and return the figures; fails when they are not reached."""
    with tempfile.TemporaryDirectory() as name, mosquitto(Path(name) / "broker") as broker:
        home = Path(name) / "home"
        settings = made_home(home, broker__builtin=False, broker__port=broker.port)
        _make_session(broker, settings["broker.client_id"])
        _make_session(broker, _NULL)
        with Store.open(settings.store_url) as store:
            _furnish(store)
            nulls, hosts = [], []
            for turn in range(ROUNDS):
                _publish(broker, turn * MESSAGES, MESSAGES)
                # whoever goes second finds the caches warm; they take turns
                if turn % 2:
                    nulls.append(_null_per_s(broker, MESSAGES))
                hosts.append(_host_round(home, store, turn * MESSAGES, MESSAGES))
                if not turn % 2:
                    nulls.append(_null_per_s(broker, MESSAGES))
    figures = {
        "null_per_s": max(nulls),
        "readings_per_s": max(host["per_s"] for host in hosts),
        "rss_mib": max(host["rss_bytes"] for host in hosts) / 2**20,
        "peak_mib": max(host["peak_bytes"] for host in hosts) / 2**20,
        "commits": statistics.median(host["commits"] for host in hosts),
    }
    figures["ratio"] = figures["readings_per_s"] / figures["null_per_s"]
    print(
        f"ingest: {figures['readings_per_s']:,.0f} readings/s committed against {figures['null_per_s']:,.0f} "
        f"messages/s merely received: ratio {figures['ratio']:.2f} (at least {LEAST_RATIO}); "
        f"resident {figures['rss_mib']:.0f} MiB, at most {figures['peak_mib']:.0f} (at most {MOST_MIB}); "
        f"{figures['commits']:.0f} commits for {MESSAGES:,}"
    )
    print(
        "        rounds, thousands a second: "
        + ", ".join(
            f"{host['per_s'] / 1e3:.1f} of {null / 1e3:.1f} ({host['cpu_s']:.1f} s CPU)"
            for host, null in zip(hosts, nulls, strict=True)
        )
    )
    assert figures["ratio"] >= LEAST_RATIO, figures
    assert figures["peak_mib"] <= MOST_MIB, figures
    return figures
