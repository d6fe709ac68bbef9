"""Bad input to the running host, through each broker: one clear reason each, and nothing good is lost."""

import contextlib
import socket
import sqlite3
import subprocess
import tempfile
import threading
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import paho.mqtt.client as paho
import pytest
from paho.mqtt.enums import CallbackAPIVersion

from tests.system.brokers import Mosquitto, free_port, mosquitto
from tests.system.hosts import HostProcess, made_home
from traywarden.domain.readings import Reading
from traywarden.store import probes, quarantine
from traywarden.store.store import Store
from traywarden.wire import packs, topics

START_MS = 1_750_000_000_000
READINGS = topics.readings_topic("demo", "bench-1")

pytestmark = [pytest.mark.system, pytest.mark.timeout(180)]


class _Garden:
    """A running host, the broker it listens to, and a way to publish."""

    def __init__(self, home: Path, port: int) -> None:
        self.home, self.port = home, port
        self.url = f"sqlite:///{home / 'traywarden.sqlite3'}"
        self.host = HostProcess(home, lean=True)

    @contextlib.contextmanager
    def publisher(self) -> Iterator[paho.Client]:
        talk = paho.Client(CallbackAPIVersion.VERSION2)
        talk.max_inflight_messages_set(1_000)
        talk.connect("127.0.0.1", self.port)
        talk.loop_start()
        try:
            yield talk
        finally:
            talk.disconnect()
            talk.loop_stop()

    def publish(self, *messages: tuple[str, bytes]) -> None:
        """Each at QoS 1, waiting for the acknowledgement."""
        with self.publisher() as talk:
            for sent in [talk.publish(topic, payload, qos=1) for topic, payload in messages]:
                sent.wait_for_publish(30)
                assert sent.is_published()

    def sequences(self) -> list[int]:
        with Store.open(self.url) as store, store.read() as tx:
            return list(tx.exec_driver_sql("SELECT sequence FROM reading ORDER BY 1").scalars())

    def quarantined(self) -> list[quarantine.Quarantined]:
        with Store.open(self.url) as store, store.read() as tx:
            return quarantine.listed(tx)

    def wait_for(self, sequences: list[int]) -> None:
        until(lambda: self.sequences() == sequences)


def until(holds: Callable[[], bool], timeout_s: float = 60) -> None:
    until_s = time.monotonic() + timeout_s
    while not holds():
        assert time.monotonic() < until_s, "it did not come to hold in time"
        time.sleep(0.05)


def _pack(sequence: int, probe: str = "bench-1") -> bytes:
    return packs.pack_from_readings(
        [Reading(probe, 1, 1, sequence, START_MS + sequence * 1000, 0, soil_temp_c=20.0)]
    )


@pytest.fixture(params=["builtin", "mosquitto"])
def garden(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[_Garden]:
    """A running host, once on each kind of broker."""
    with contextlib.ExitStack() as stack:
        home = tmp_path / "home"
        if request.param == "builtin":
            port = free_port()
            made_home(home, broker__port=port)
        else:
            port = stack.enter_context(mosquitto(tmp_path / "broker")).port
            made_home(home, broker__builtin=False, broker__port=port)
        made = _Garden(home, port)
        stack.enter_context(made.host)
        yield made
        assert made.host.end() == 0
        assert "Traceback" not in made.host.said
        assert "Warning" not in made.host.said


def test_every_bad_message_gets_its_reason_and_the_good_ones_around_it_are_stored(garden: _Garden) -> None:
    cel = '"n":"1/soil_temperature","u":"Cel"'
    bad = {
        "not SenML JSON": (READINGS, b"{nonsense"),
        "at most 262144 are read": (READINGS, b"[" + b" " * (10 << 20) + b"]"),
        "invalid character": (READINGS, f'[{{"bt":1750000000,{cel},"v":NaN}}]'.encode()),
        "send soil temperature in 'Cel'": (
            READINGS,
            f'[{{"bt":1750000000,{cel},"v":20}}]'.encode().replace(b"Cel", b"V"),
        ),
        "this host keeps “demo”": ("traywarden/v1/elsewhere/bench-1/readings", _pack(1)),
        "cannot stand in a topic": ("traywarden/v1/demo/../readings", _pack(1)),
        "The probe name": ("traywarden/v1/demo/x'; DROP TABLE reading;--/readings", _pack(1)),
        "not a JSON object": (topics.state_topic("demo", "bench-1"), b"[]"),
    }
    garden.publish((READINGS, _pack(0)), *bad.values(), (READINGS, _pack(1)))
    garden.wait_for([0, 1])
    until(lambda: len(garden.quarantined()) == len(bad))
    reasons = " ".join(kept.reason for kept in garden.quarantined())
    assert [part for part in bad if part not in reasons] == []
    kept = max(garden.quarantined(), key=lambda one: one.payload_bytes)
    assert kept.payload_bytes == (10 << 20) + 2
    assert len(kept.payload) == quarantine.MOST_BYTES_KEPT


def test_times_of_1970_and_of_the_future_and_unknown_probes_are_kept(garden: _Garden) -> None:
    value = '"n":"1/soil_temperature","u":"Cel","v":20'
    garden.publish(
        (topics.readings_topic("demo", "stranger"), _pack(7, "stranger")),
        (READINGS, f'[{{"bt":4102444800,{value}}},{{"n":"sequence","u":"count","v":8}}]'.encode()),
        # seconds since a start in 1970: SenML reads so small a number as relative to now
        (READINGS, f'[{{"bt":-30,{value}}},{{"n":"sequence","u":"count","v":9}}]'.encode()),
    )
    garden.wait_for([7, 8, 9])
    assert garden.quarantined() == []
    with Store.open(garden.url) as store, store.read() as tx:
        assert {probe.name for probe in probes.probes(tx)} == {"stranger", "bench-1"}


def test_a_client_that_breaks_off_in_the_middle_of_a_message_harms_nobody(garden: _Garden) -> None:
    with socket.create_connection(("127.0.0.1", garden.port)) as client:
        client.sendall(b"\x10\x10\x00\x04MQTT\x04\x02\x00\x3c\x00\x04half" + b"\x32\xff\x7f\x00\x09half")
        client.recv(4)
    garden.publish((READINGS, _pack(0)))
    garden.wait_for([0])


def test_a_database_locked_by_another_program_is_waited_for_and_spoken_of_once(garden: _Garden) -> None:
    """With the built-in broker the publisher's acknowledgement waits too."""
    garden.publish((READINGS, _pack(0)))
    garden.wait_for([0])
    with garden.publisher() as talk:
        with contextlib.closing(sqlite3.connect(garden.url.removeprefix("sqlite:///"))) as other:
            other.execute("BEGIN IMMEDIATE")
            sent = [talk.publish(READINGS, _pack(n), qos=1) for n in range(1, 51)]
            until(lambda: "locked by another program" in garden.host.said)
            time.sleep(1)
            other.rollback()
        for one in sent:
            one.wait_for_publish(60)
    garden.wait_for(list(range(51)))
    until(lambda: "takes readings again" in garden.host.said)
    assert garden.host.said.count("Until then nothing is acknowledged") == 1


@pytest.fixture
def small_disk() -> Iterator[Path]:
    """A file system of 16 MiB."""
    folder = Path(tempfile.mkdtemp(prefix="traywarden-disk-"))
    mount = ["mount", "-t", "tmpfs", "-o", "size=16m,mode=777", "tmpfs", str(folder)]
    if subprocess.run(mount, capture_output=True, check=False).returncode != 0:
        folder.rmdir()
        pytest.skip("a small file system cannot be mounted here (needs root)")
    yield folder
    subprocess.run(["umount", "--lazy", folder], check=True)
    folder.rmdir()


def test_a_full_disk_is_spoken_of_once_and_what_came_meanwhile_is_stored_when_there_is_room(
    small_disk: Path, tmp_path: Path
) -> None:
    with mosquitto(tmp_path / "broker") as broker:
        home = tmp_path / "home"
        made_home(
            home,
            broker__builtin=False,
            broker__port=broker.port,
            store__url=f"sqlite:///{small_disk}/traywarden.sqlite3",
        )
        garden = _Garden(home, broker.port)
        garden.url = f"sqlite:///{small_disk}/traywarden.sqlite3"
        with garden.host:
            garden.publish((READINGS, _pack(0)))
            garden.wait_for([0])
            ballast = small_disk / "ballast"
            with contextlib.suppress(OSError), ballast.open("wb", buffering=0) as file:
                while file.write(b"x" * 4096):
                    pass
            garden.publish(*((READINGS, _pack(n)) for n in range(1, 3_001)))
            until(lambda: "is full; free some space" in garden.host.said)
            time.sleep(2)
            ballast.unlink()
            garden.wait_for(list(range(3_001)))
            assert garden.host.said.count("Until then nothing is acknowledged") == 1
            assert garden.host.end() == 0


def test_readings_wait_while_the_disk_is_read_only(small_disk: Path, tmp_path: Path) -> None:
    """A disk that came up read-only after a fault, and that a person puts right."""
    with mosquitto(tmp_path / "broker") as broker:
        home, url = tmp_path / "home", f"sqlite:///{small_disk}/traywarden.sqlite3"
        made_home(home, broker__builtin=False, broker__port=broker.port, store__url=url)
        garden = _Garden(home, broker.port)
        garden.url = url
        with garden.host:
            garden.publish((READINGS, _pack(0)))
            garden.wait_for([0])
            garden.host.kill()
        garden.publish((READINGS, _pack(1)))
        subprocess.run(["mount", "-o", "remount,ro", small_disk], check=True)
        try:
            _check_refusal(home, 6, "read-only")
        finally:
            subprocess.run(["mount", "-o", "remount,rw", small_disk], check=True)
        with garden.host:
            garden.wait_for([0, 1])
            assert garden.host.end() == 0


def test_a_broker_that_restarts_under_load_loses_nothing(tmp_path: Path) -> None:
    with mosquitto(tmp_path / "broker") as broker:
        home = tmp_path / "home"
        made_home(home, broker__builtin=False, broker__port=broker.port)
        garden = _Garden(home, broker.port)
        with garden.host:
            publishing = threading.Thread(target=_publish_through_restarts, args=(broker, garden))
            publishing.start()
            publishing.join()
            garden.wait_for(list(range(600)))
            assert garden.host.end() == 0
        assert "is gone; trying again" in garden.host.said
        assert "readings arrive again" in garden.host.said


def _publish_through_restarts(broker: Mosquitto, garden: _Garden) -> None:
    for first in range(0, 600, 200):
        garden.publish(*((READINGS, _pack(n)) for n in range(first, first + 200)))
        if first < 400:
            broker.stop()
            broker.start()


def _check_refusal(home: Path, code: int, *parts: str, **environ: str) -> None:
    """`traywarden run` ends at once with this code and one sentence that holds these parts."""
    told = HostProcess.refused(home, **environ)
    assert told.returncode == code, told.stderr
    for part in parts:
        assert part in told.stderr
    assert "Traceback" not in told.stderr
    assert len(told.stderr.strip().splitlines()) == 1


def test_no_broker_is_one_sentence_and_an_exit_code(tmp_path: Path) -> None:
    made_home(tmp_path, broker__builtin=False, broker__port=free_port())
    _check_refusal(tmp_path, 7, "There is no MQTT broker at 127.0.0.1")


def test_a_port_in_use_is_one_sentence_and_an_exit_code(tmp_path: Path) -> None:
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen()
        made_home(tmp_path, broker__port=taken.getsockname()[1])
        _check_refusal(tmp_path, 7, "cannot listen on 127.0.0.1", "Address already in use")


def test_no_garden_and_no_pages_to_make_one_is_one_sentence_and_an_exit_code(tmp_path: Path) -> None:
    _check_refusal(tmp_path, 2, "There is no garden", "traywarden garden set", TRAYWARDEN_WEB_ENABLED="false")


def test_an_open_broker_is_refused(tmp_path: Path) -> None:
    made_home(tmp_path, broker__host="0.0.0.0")
    _check_refusal(tmp_path, 3, "open to everyone", "broker.password")


def test_a_second_host_in_the_same_home_is_refused_and_the_first_goes_on(tmp_path: Path) -> None:
    made_home(tmp_path, broker__port=0)
    with HostProcess(tmp_path) as first:
        _check_refusal(tmp_path, 2, "A host already runs", str(first.pid))
        assert first.end() == 0
        assert "Ended; everything that arrived is stored." in first.said


def test_settings_with_three_mistakes_name_all_three(tmp_path: Path) -> None:
    made_home(tmp_path)
    (tmp_path / "settings.toml").write_text(
        '[broker]\nprot = 1\nport = "x"\n[host]\nclock = "sundial"\n', encoding="utf-8"
    )
    told = HostProcess.refused(tmp_path)
    assert told.returncode == 3
    assert "did you mean “broker.port”" in told.stderr
    assert "'x' is not a whole number" in told.stderr
    assert "sundial" in told.stderr
