"""The doctor finds what is wrong, says what to do, and shows no secret."""

import socket
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import msgspec
import pytest

from tests.services.little_garden import NOW_MS, little_garden
from tests.system.brokers import free_port, mosquitto
from traywarden.domain.journal import Kind
from traywarden.domain.notices import Notice, NoticeState
from traywarden.domain.readings import BOOT_IMPORTED, Reading
from traywarden.errors import BrokerError
from traywarden.links.reach import reach_broker
from traywarden.services.doctor import DoctorAnswer, ask_doctor
from traywarden.services.running import RunningMark
from traywarden.settings import Settings, load
from traywarden.store import journal, notices, probes, quarantine, readings
from traywarden.store.schema import REVISIONS
from traywarden.store.store import Store

HOUR_MS = 3_600_000


def _settings(home: Path, **values: Any) -> Settings:
    return load(home, environ={}, overrides={k.replace("__", "."): v for k, v in values.items()})


def _says(answer: DoctorAnswer, name: str) -> tuple[bool, str]:
    check = next(c for c in answer.checks if c.name == name)
    return check.ok, f"{check.says} {check.remedy}"


@pytest.fixture(scope="module")
def home(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A garden whose last readings have just arrived; its host does not run."""
    folder = tmp_path_factory.mktemp("home")
    little_garden(folder).store.close()
    return folder


@contextmanager
def _listener(answer: bytes) -> Iterator[int]:
    """Something that listens, answers every caller with the same bytes, and is no broker."""
    with socket.create_server(("127.0.0.1", 0)) as server:

        def serve() -> None:
            try:
                caller, _ = server.accept()
            except OSError:
                return
            with caller:
                caller.recv(1024)
                caller.sendall(answer)
                caller.recv(1024)

        thread = threading.Thread(target=serve)
        thread.start()
        yield server.getsockname()[1]
        server.shutdown(socket.SHUT_RDWR)
    thread.join(5)


def test_a_garden_in_order_but_for_a_host_that_does_not_run(home: Path) -> None:
    answer = ask_doctor(_settings(home), NOW_MS)
    assert [c.name for c in answer.checks if not c.ok] == ["host"]
    assert "traywarden run" in _says(answer, "host")[1]
    assert "10,355 readings" in _says(answer, "store")[1]
    assert f"schema {REVISIONS[-1]}, writable" in _says(answer, "store")[1]
    assert not answer.well


def test_before_anything_is_made_the_store_is_not_made_by_looking(tmp_path: Path) -> None:
    answer = ask_doctor(_settings(tmp_path / "none"), NOW_MS)
    assert _says(answer, "store") == (True, "not made yet; the first command that writes makes it ")
    assert not (tmp_path / "none").exists()


def test_secrets_are_masked_everywhere(home: Path) -> None:
    answer = ask_doctor(_settings(home, broker__password="hunter2"), NOW_MS)
    assert answer.settings["broker.password"] == "•••"
    assert "hunter2" not in msgspec.json.encode(answer).decode()


def test_a_probe_in_use_that_has_gone_silent_is_trouble(home: Path) -> None:
    answer = ask_doctor(_settings(home), NOW_MS + 5 * HOUR_MS)
    ok, says = _says(answer, "probes")
    assert not ok
    assert "silent: bench for 5 h, frame for 5 h" in says
    assert [(line.probe, line.quiet) for line in answer.probes] == [("bench", True), ("frame", True)]
    assert answer.probes[0].battery_v == 3.9


def test_nobody_waits_to_hear_from_a_logger_whose_readings_come_from_files(tmp_path: Path) -> None:
    made = little_garden(tmp_path, with_readings=False)
    with made.store.write() as tx:
        times = (NOW_MS - 400 * 24 * HOUR_MS, NOW_MS - 399 * 24 * HOUR_MS)
        rows = [Reading("old-log", 1, BOOT_IMPORTED, t, t, NOW_MS, soil_temp_c=12.0) for t in times]
        readings.insert(tx, rows)
        head = probes.head_labelled(tx, "old-log/1")
        tray_id = made.tray_ids["tomatoes"]
        journal.write(tx, Kind.HEAD_PLACED, times[0], NOW_MS, head_id=head.head_id, tray_id=tray_id)
    made.store.close()
    answer = ask_doctor(_settings(tmp_path), NOW_MS)
    assert "old-log" not in _says(answer, "probes")[1], "a file's readings end when the file ends"
    assert {line.probe: line.quiet for line in answer.probes}["old-log"] is False


def test_played_back_readings_are_not_silent(home: Path) -> None:
    answer = ask_doctor(_settings(home, host__clock="readings"), NOW_MS + 400 * 24 * HOUR_MS)
    assert _says(answer, "probes")[0]


def test_unreadable_messages_and_notices_given_up_are_told_with_the_reason(tmp_path: Path) -> None:
    made = little_garden(tmp_path, with_readings=False)
    with made.store.write() as tx:
        quarantine.put(tx, "traywarden/v1/x/y/readings", b"{", "this is not JSON", NOW_MS)
        notices.put(tx, [_notice("n1", NoticeState.PARKED, "the mailbox is full")])
    made.store.close()
    answer = ask_doctor(_settings(tmp_path), NOW_MS)
    assert _says(answer, "unreadable messages")[0] is False
    assert "this is not JSON" in _says(answer, "unreadable messages")[1]
    assert "the mailbox is full" in _says(answer, "notices")[1]


def test_a_notice_that_waits_for_long_is_trouble_and_one_just_made_is_not(tmp_path: Path) -> None:
    made = little_garden(tmp_path, with_readings=False)
    with made.store.write() as tx:
        notices.put(tx, [_notice("n1", NoticeState.WAITING, "no route to host")])
    made.store.close()
    assert _says(ask_doctor(_settings(tmp_path), NOW_MS + 60_000), "notices")[0]
    ok, says = _says(ask_doctor(_settings(tmp_path), NOW_MS + 2 * HOUR_MS), "notices")
    assert not ok
    assert "waits for 2 h: no route to host" in says


def _notice(notice_id: str, state: NoticeState, trouble: str) -> Notice:
    return Notice(
        notice_id, "mail", "urgent", "Water now", "", (), NOW_MS, state, next_try_ms=NOW_MS, trouble=trouble
    )


def test_a_damaged_store_is_told(tmp_path: Path) -> None:
    """Bytes overwritten in the middle of the file, as a bad card would."""
    little_garden(tmp_path).store.close()
    path = tmp_path / "traywarden.sqlite3"
    with path.open("r+b") as file:
        file.seek(path.stat().st_size // 2)
        file.write(b"\xff" * 8192)
    ok, says = _says(ask_doctor(_settings(tmp_path), NOW_MS), "store")
    assert not ok
    assert "damaged" in says or "malformed" in says


def test_a_store_of_another_program_is_told_and_the_rest_still_looked_at(tmp_path: Path) -> None:
    (tmp_path / "traywarden.sqlite3").write_bytes(b"this is no database at all" * 100)
    answer = ask_doctor(_settings(tmp_path), NOW_MS)
    assert not _says(answer, "store")[0]
    assert "broker.port" in answer.settings


def test_nobody_listening_and_something_that_is_no_broker_are_told_apart(tmp_path: Path) -> None:
    settings = _settings(tmp_path, broker__builtin=False)
    with pytest.raises(BrokerError, match=r"There is no MQTT broker at 127\.0\.0\.1"):
        reach_broker(settings, "127.0.0.1", free_port())
    with (
        _listener(b"HTTP/1.1 400 Bad Request\r\n\r\n") as port,
        pytest.raises(BrokerError, match="MQTT broker"),
    ):
        reach_broker(settings, "127.0.0.1", port, timeout_s=0.5)


def test_a_missing_certificate_file_is_told(tmp_path: Path) -> None:
    settings = _settings(tmp_path, broker__tls=True, broker__ca_file=str(tmp_path / "none.pem"))
    with pytest.raises(BrokerError, match=r"127\.0\.0\.1:8883"):
        reach_broker(settings, "127.0.0.1", 8883)


@pytest.mark.system
def test_a_real_broker_answers_and_a_wrong_password_is_told(tmp_path: Path) -> None:
    with mosquitto(tmp_path / "open") as broker:
        settings = _settings(tmp_path, broker__builtin=False, broker__port=broker.port)
        answer = ask_doctor(settings, NOW_MS)
        assert _says(answer, "broker") == (True, f"answers at 127.0.0.1:{broker.port} ")
    with mosquitto(tmp_path / "closed", "allow_anonymous false") as broker:
        settings = _settings(tmp_path, broker__user="me", broker__password="wrong")
        with pytest.raises(BrokerError, match=r"refused us .*broker\.user"):
            reach_broker(settings, "127.0.0.1", broker.port)


@pytest.mark.system
def test_the_built_in_broker_is_looked_for_where_the_running_host_says(tmp_path: Path) -> None:
    with mosquitto(tmp_path / "stand-in") as broker:  # any broker will do for what is asked here
        mark = RunningMark(tmp_path)
        mark.take()
        mark.write(NOW_MS, (broker.host, broker.port))
        try:
            answer = ask_doctor(_settings(tmp_path), NOW_MS)
        finally:
            mark.release(NOW_MS)
    assert _says(answer, "built-in broker")[0]


def test_a_folder_where_the_store_should_be_is_told(tmp_path: Path) -> None:
    (tmp_path / "traywarden.sqlite3").mkdir()
    ok, says = _says(ask_doctor(_settings(tmp_path), NOW_MS), "store")
    assert not ok
    assert "traywarden.sqlite3" in says


def test_the_answer_is_json_able(home: Path) -> None:
    built = msgspec.to_builtins(ask_doctor(_settings(home), NOW_MS))
    assert built["checks"][0]["name"] == "host"
    with Store.open(f"sqlite:///{home / 'traywarden.sqlite3'}") as store:
        assert store.revision() in built["checks"][1]["says"]
