"""From a probe's publish to the notice at a webhook, through the real host, while 100 packs a second arrive.

Many trays with a day and a half of history stand in the garden. Dry readings of one tray after another are
published; a rule without opening delay makes each of them a notice. The clock runs from the moment the dry
reading is handed to the MQTT client to the moment the webhook has the notice that names its tray. It only
starts when one notice has come through: after a start the host judges every tray before it tells anything.

The baseline is the same webhook asked directly, without any of the rest.
"""

import json
import tempfile
import threading
import time
import urllib.request
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import paho.mqtt.client as paho
import psutil
from paho.mqtt.enums import CallbackAPIVersion

from tests.benchmarks.figures import Figure
from tests.links.mail_and_web import Hook, web_server
from tests.system.brokers import Mosquitto, mosquitto
from tests.system.hosts import HostProcess, made_home
from traywarden.domain.journal import Kind
from traywarden.domain.readings import Reading
from traywarden.store import garden as garden_store
from traywarden.store import journal, probes, readings
from traywarden.store.store import Store
from traywarden.wire import packs, topics

TARGETS = 240
LOAD_TRAYS = 400
PACKS_PER_S = 100
DRY_PER_S = 10
STEP_MS = 600_000
HISTORY = 216  # a day and a half, every ten minutes: what the quality flags look back at
WET, DRY = 0.45, 0.20
_FIRST = "target-first"
MOST_P99_S = 1.5
MOST_MIB = 200


@dataclass
class _Client:
    """Publishes packs of four records of one instant, as probes do."""

    client: paho.Client
    sequence: int = 1_000_000

    def publish(self, probe: str, moisture: float) -> None:
        self.sequence += 1
        reading = Reading(
            probe,
            1,
            9,
            self.sequence,
            time.time_ns() // 1_000_000,
            0,
            soil_temp_c=18.0 + self.sequence % 50 / 100,
            moisture_m3_m3=moisture + self.sequence % 10 / 1000,
        )
        payload = packs.pack_from_readings([reading])
        self.client.publish(topics.readings_topic("demo", probe), payload, qos=1)


def _furnish(store: Store) -> None:
    now_ms = time.time_ns() // 1_000_000
    begin_ms = now_ms - HISTORY * STEP_MS
    names = [_FIRST] + [f"target-{n}" for n in range(TARGETS)] + [f"load-{n}" for n in range(LOAD_TRAYS)]
    with store.write() as tx:
        bench = garden_store.add_place(tx, "bench", "open bench")
        mix = garden_store.add_mix(tx, "peat", {"peat": 1}, 0.55, 0.25)
        ids = probes.ensure_heads(tx, [(name, 1) for name in names], begin_ms)
        for name in names:
            tray_id = garden_store.add_tray(tx, f"tray {name}.", cells=60).tray_id
            at = begin_ms
            journal.write(tx, Kind.MOVED, at, at, tray_id=tray_id, place_id=bench.place_id)
            journal.write(tx, Kind.FILLED, at, at, tray_id=tray_id, mix_id=mix.mix_id)
            journal.write(tx, Kind.HEAD_PLACED, at, at, tray_id=tray_id, head_id=ids[name, 1])
            journal.write(tx, Kind.SOWED, at, at, tray_id=tray_id, data={"crop": "tomato"})
        for name in names:
            past = [
                Reading(name, 1, 8, n, begin_ms + n * STEP_MS, now_ms, soil_temp_c=18.0, moisture_m3_m3=WET)
                for n in range(HISTORY)
            ]
            readings.insert(tx, past)


class _Load:
    """Wet readings of the other trays at a steady pace, until stopped."""

    def __init__(self, client: _Client, packs_per_s: float) -> None:
        self._client, self._step_s = client, 1 / packs_per_s
        self._ending = threading.Event()
        self._thread = threading.Thread(target=self._run)
        self.sent = 0

    def __enter__(self) -> "_Load":
        self._thread.start()
        return self

    def __exit__(self, *_: object) -> None:
        self._ending.set()
        self._thread.join()

    def _run(self) -> None:
        began_s = time.perf_counter()
        while not self._ending.is_set():
            self._client.publish(f"load-{self.sent % LOAD_TRAYS}", WET)
            self.sent += 1
            self._ending.wait(max(0.0, began_s + self.sent * self._step_s - time.perf_counter()))


def _arrivals(hook: Hook) -> dict[str, float]:
    """When the webhook first had a notice naming each tray (perf_counter) [s]."""
    found: dict[str, float] = {}
    for got, at_s in zip(hook.got, hook.at_s, strict=True):
        text = got["title"] + got["message"]
        for word in text.replace(":", " ").split():
            if word.startswith("target-"):
                found.setdefault(word.split(".")[0], at_s)
    return found


def _direct_s(hook: Hook) -> float:
    """Median time the webhook takes by itself."""
    spans = []
    body = json.dumps({"title": "", "message": ""}).encode()
    for _ in range(50):
        began_s = time.perf_counter()
        request = urllib.request.Request(f"http://127.0.0.1:{hook.port}/", body, method="POST")
        with urllib.request.urlopen(request, timeout=10) as answer:
            answer.read()
        spans.append(time.perf_counter() - began_s)
    hook.got.clear()
    hook.at_s.clear()
    return float(np.median(spans))


def _client(broker: Mosquitto, name: str) -> _Client:
    client = paho.Client(CallbackAPIVersion.VERSION2, client_id=name)
    client.max_inflight_messages_set(1000)
    client.connect(broker.host, broker.port)
    client.loop_start()
    return _Client(client)


def _measured(home: Path, broker: Mosquitto, hook: Hook) -> tuple[dict[str, float], dict[str, float], float]:
    published: dict[str, float] = {}
    load, dry = _client(broker, "load"), _client(broker, "dry")
    with HostProcess(home, lean=True) as host:
        process = psutil.Process(host.pid)
        with _Load(load, PACKS_PER_S - DRY_PER_S):
            dry.publish(_FIRST, DRY)
            assert hook.wait_for(1), "the first notice never came"
            for n in range(TARGETS):
                published[f"target-{n}"] = time.perf_counter()
                dry.publish(f"target-{n}", DRY)
                time.sleep(1 / DRY_PER_S)
            until_s = time.perf_counter() + 30
            while len(_arrivals(hook).keys() & published.keys()) < TARGETS and time.perf_counter() < until_s:
                time.sleep(0.1)
        rss_mib = process.memory_info().rss / 2**20
        assert host.end() == 0, host.said[-2000:]
    for one in (load, dry):
        one.client.disconnect()
        one.client.loop_stop()
    return published, _arrivals(hook), rss_mib


def run() -> list[Figure]:
    with (
        tempfile.TemporaryDirectory() as name,
        web_server() as hook,
        mosquitto(Path(name) / "broker") as broker,
    ):
        home = Path(name) / "home"
        settings = made_home(home, broker__builtin=False, broker__port=broker.port, dry__open_delay_s=0.0)
        with (home / "settings.toml").open("a") as file:
            file.write(f'[[channel]]\nname = "hook"\nurl = "{hook.url()}"\n')
        with Store.open(settings.store_url) as store:
            _furnish(store)
        direct_s = _direct_s(hook)
        published, arrived, rss_mib = _measured(home, broker, hook)
    missing = published.keys() - arrived.keys()
    assert not missing, f"no notice for {len(missing)} of {TARGETS} trays"
    spans_s = np.array([arrived[tray] - published[tray] for tray in published])
    at = f"publish to notice at {PACKS_PER_S} packs/s, {TARGETS} notices, {TARGETS + LOAD_TRAYS} trays"
    return [
        Figure(f"{at}, p50", float(np.percentile(spans_s, 50)), "s"),
        Figure(f"{at}, p99", float(np.percentile(spans_s, 99)), "s", most=MOST_P99_S),
        Figure("the webhook by itself, median", direct_s, "s"),
        Figure("resident memory of the host with apprise loaded", rss_mib, "MiB", most=MOST_MIB),
    ]
