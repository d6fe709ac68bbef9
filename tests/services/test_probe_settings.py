"""Each probe is asked for what the facts of its trays call for, and told again when they change."""

import json
import queue
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import paho.mqtt.client as paho
import pytest
from paho.mqtt.enums import CallbackAPIVersion

from tests.services.little_garden import CAPACITY, DRY_LINE, NOW_MS, LittleGarden, little_garden
from tests.system.brokers import mosquitto
from tests.system.hosts import made_home
from traywarden.domain.journal import Calibration, Kind
from traywarden.domain.moisture import DEFAULT_CALIBRATION, m3_m3_from_volts
from traywarden.domain.readings import Reading
from traywarden.services.host import Host
from traywarden.services.probe_settings import ProbeSettings, answered, wanted_settings
from traywarden.settings import Settings, load
from traywarden.store import garden, journal, probes, readings
from traywarden.store.crops import load_crops

DAY_MS = 86_400_000


@pytest.fixture
def small(tmp_path: Path) -> Iterator[LittleGarden]:
    made = little_garden(tmp_path, with_readings=False)
    yield made
    made.store.close()


def chosen(**values: object) -> Settings:
    return load(Path("/nowhere"), environ={}, overrides={k.replace("__", "."): v for k, v in values.items()})


def wanted(small: LittleGarden, **values: object) -> dict[str, dict[str, Any]]:
    with small.store.read() as tx:
        return wanted_settings(tx, chosen(**values), load_crops(), NOW_MS)


def head_id(small: LittleGarden, label: str) -> int:
    with small.store.read() as tx:
        return probes.head_labelled(tx, label).head_id


def test_the_dry_line_of_the_mix_is_told_in_the_volts_of_the_head(small: LittleGarden) -> None:
    limits = wanted(small)["bench"]["limits"]["1"]
    at_line = float(m3_m3_from_volts(limits["dry_v"], DEFAULT_CALIBRATION))
    clear = float(m3_m3_from_volts(limits["dry_v"] - limits["hysteresis_v"], DEFAULT_CALIBRATION))
    assert at_line == pytest.approx(DRY_LINE, abs=1e-4)
    assert clear == pytest.approx(DRY_LINE + 0.05 * CAPACITY, abs=1e-4)


def test_a_calibration_of_its_own_moves_the_limit_of_that_head_alone(small: LittleGarden) -> None:
    before = wanted(small)
    curve = ((1.5, 0.6), (1.9, 0.3), (2.9, 0.0))
    head = head_id(small, "bench/1")
    with small.store.write() as tx:
        journal.write(
            tx, Kind.CALIBRATED, NOW_MS, NOW_MS, head_id=head, data={"points": [list(p) for p in curve]}
        )
    after = wanted(small)
    dry_v = after["bench"]["limits"]["1"]["dry_v"]
    assert float(m3_m3_from_volts(dry_v, Calibration(0, curve))) == pytest.approx(DRY_LINE, abs=1e-4)
    assert after["bench"]["limits"]["2"] == before["bench"]["limits"]["2"]
    assert after["frame"] == before["frame"]
    assert after["bench"]["revision"] != before["bench"]["revision"]


def test_a_sensor_whose_volts_rise_with_water_gets_no_limit_it_would_cross_the_wrong_way(
    small: LittleGarden,
) -> None:
    head = head_id(small, "bench/1")
    with small.store.write() as tx:
        points = {"points": [[0.5, 0.0], [2.0, 0.5]]}
        journal.write(tx, Kind.CALIBRATED, NOW_MS, NOW_MS, head_id=head, data=points)
    assert "dry_v" not in wanted(small)["bench"]["limits"]["1"]


def test_a_sown_crops_limits_are_told_until_it_is_up(small: LittleGarden) -> None:
    crop = load_crops()["lettuce"]
    limits = wanted(small)["bench"]["limits"]["1"]
    assert limits["cold_c"] == pytest.approx(crop.floor_c, abs=0.01)
    assert limits["hot_c"] == pytest.approx(crop.max_c, abs=0.01)
    with small.store.write() as tx:
        journal.write(tx, Kind.EMERGED, NOW_MS - DAY_MS, NOW_MS, tray_id=small.tray_ids["lettuce"])
    assert wanted(small)["bench"]["limits"]["1"].keys() == {"dry_v", "hysteresis_v"}


def test_the_air_sensor_watches_for_frost_and_a_head_in_no_tray_for_nothing(small: LittleGarden) -> None:
    with small.store.write() as tx:
        probes.ensure_heads(tx, [("bench", 3)], NOW_MS)
    limits = wanted(small, probes__frost_c=1.5)["bench"]["limits"]
    assert limits["0"]["frost_c"] == 1.5
    assert "3" not in limits


def test_intervals_are_left_to_the_probe_unless_they_are_set(small: LittleGarden) -> None:
    assert wanted(small)["frame"].keys() == {"limits", "revision"}
    asked = wanted(small, probes__read_s=300, probes__send_s=1800)["frame"]
    assert (asked["read_s"], asked["send_s"]) == (300, 1800)


def test_the_same_facts_make_the_same_revision_after_a_restart(small: LittleGarden) -> None:
    assert wanted(small) == wanted(small)
    revisions = {message["revision"] for message in wanted(small).values()}
    assert len(revisions) == 2
    assert all(0 <= revision < 2**31 for revision in revisions)


def test_what_a_probe_answered_is_said_in_words() -> None:
    assert answered({"settings_revision": 7}, {"revision": 7}).words == "taken"
    assert answered({"settings_revision": 6}, {"revision": 7}).words == "not taken yet"
    refused = answered({"settings_revision": 6, "settings_refused": "send_s is too short"}, {"revision": 7})
    assert refused.words == "refused: send_s is too short"
    assert answered({"state": "awake"}, {"revision": 7}).words == ""


def test_only_what_changed_is_published_again(small: LittleGarden) -> None:
    sent: list[tuple[str, bool]] = []

    def publish(topic: str, payload: bytes, *, retain: bool = False) -> None:
        sent.append((topic, retain))

    class Still:
        def now_ms(self) -> int:
            return NOW_MS

        def observe(self, time_ms: int) -> None: ...

    told = ProbeSettings(small.store, "little-garden", chosen(), Still(), load_crops(), publish)
    told.tell()
    prefix = "traywarden/v1/little-garden"
    assert sorted(sent) == [(f"{prefix}/bench/settings", True), (f"{prefix}/frame/settings", True)]
    told.tell()
    with small.store.write() as tx:  # speaks of no limit
        journal.write(tx, Kind.NOTED, NOW_MS, NOW_MS, tray_id=small.tray_ids["lettuce"])
    told.tell()
    assert len(sent) == 2
    with small.store.write() as tx:
        garden.change_mix(tx, "Bark mix", dry_line_m3_m3=0.3)
    told.tell()
    assert sent[2:] == [(f"{prefix}/bench/settings", True)]
    told.take(chosen(cold__close_above_c=1.5))  # both watch for cold: the frame's air, and what is sown
    told.tell()
    assert sorted(sent[3:]) == sorted(sent[:2])


@contextmanager
def listening(port: int, topic: str) -> Iterator["queue.Queue[tuple[bytes, bool]]"]:
    """A client of the broker that hears one topic: payloads, and whether they were retained."""
    heard: queue.Queue[tuple[bytes, bool]] = queue.Queue()
    client = paho.Client(CallbackAPIVersion.VERSION2)
    client.on_message = lambda c, u, message: heard.put((bytes(message.payload), message.retain))
    client.on_connect = lambda c, *_: c.subscribe(topic, 1)
    client.connect("127.0.0.1", port)
    client.loop_start()
    try:
        yield heard
    finally:
        client.disconnect()
        client.loop_stop()


def until(condition: Callable[[], bool], wait_s: float = 20.0) -> None:
    end_s = time.monotonic() + wait_s
    while not condition():
        assert time.monotonic() < end_s, "it did not come about in time"
        time.sleep(0.02)


@pytest.mark.system
@pytest.mark.parametrize("builtin", [True, False])
def test_a_probe_that_subscribes_later_gets_its_settings_and_its_answer_is_kept(
    tmp_path: Path, builtin: bool
) -> None:
    with mosquitto(tmp_path / "broker") as broker:
        port = 0 if builtin else broker.port
        home = made_home(tmp_path / "home", broker__builtin=builtin, broker__port=port)
        with Host(home) as host:
            with host.store.write() as tx:
                readings.insert(tx, [Reading("bench-1", 0, 1, 1, NOW_MS, NOW_MS, air_temp_c=9.0)])
            port = host.broker_address[1]
            topic = "traywarden/v1/demo/bench-1/settings"
            with listening(port, topic) as heard:
                first, _ = heard.get(timeout=20)
            with listening(port, topic) as heard:  # it slept, and asks again
                payload, retained = heard.get(timeout=20)
                assert retained
                assert payload == first
                asked = json.loads(payload)
                assert asked["limits"]["0"]["frost_c"] == 0.0
                with host.store.write() as tx:
                    mix = garden.add_mix(tx, "Peat", {"peat": 1}, 0.6, 0.3)
                    tray = garden.add_tray(tx, "A1")
                    head = probes.ensure_heads(tx, [("bench-1", 1)], NOW_MS)["bench-1", 1]
                    journal.write(tx, Kind.FILLED, 1, 1, tray_id=tray.tray_id, mix_id=mix.mix_id)
                    journal.write(tx, Kind.HEAD_PLACED, 1, 1, tray_id=tray.tray_id, head_id=head)
                later = asked
                while later["revision"] == asked["revision"]:  # at QoS 1 it may come twice
                    later = json.loads(heard.get(timeout=20)[0])
                assert later["limits"]["1"]["dry_v"] > 0
                answer = json.dumps({"state": "awake", "settings_revision": later["revision"]})
                client = paho.Client(CallbackAPIVersion.VERSION2)
                client.connect("127.0.0.1", port)
                client.loop_start()
                client.publish("traywarden/v1/demo/bench-1/state", answer, qos=1, retain=True)

                def kept() -> bool:
                    with host.store.read() as tx:
                        return bool(probes.probe_named(tx, "bench-1").state)

                until(kept)
                client.disconnect()
                client.loop_stop()
            with host.store.read() as tx:
                state = probes.probe_named(tx, "bench-1").state
                wanted_now = wanted_settings(tx, home, load_crops(), NOW_MS)["bench-1"]
            assert answered(state, wanted_now).words == "taken"
