"""The host runs whole or not at all, one at a time, and ends with everything stored."""

import threading
import time
from collections.abc import Callable
from functools import partialmethod
from pathlib import Path
from typing import Any

import pytest

from tests.system.hosts import made_home
from traywarden.domain.notices import Notice, NoticeState
from traywarden.domain.readings import Reading
from traywarden.errors import StoreError, TraywardenError, UsageError
from traywarden.services import following
from traywarden.services.deliver import Deliver
from traywarden.services.desk import Desk
from traywarden.services.host import Host
from traywarden.services.ingest import Ingest
from traywarden.services.letting_go import LettingGo
from traywarden.services.publishing import probe_publisher
from traywarden.services.running import last_running, running_host
from traywarden.services.watch import Watch
from traywarden.settings import change_settings, load
from traywarden.store import notices as notice_store
from traywarden.store import readings
from traywarden.store.store import Store


def _reading(sequence: int) -> Reading:
    return Reading("bench-1", 1, 1, sequence, 1_750_000_000_000 + sequence * 1000, 0, soil_temp_c=20.0)


def test_what_a_probe_sends_is_stored_and_receipted(tmp_path: Path) -> None:
    said: list[str] = []
    with Host(made_home(tmp_path, broker__port=0), say=said.append) as host:
        address, port = host.broker_address
        assert address == "127.0.0.1"
        with probe_publisher(address, port, host.garden.slug, "bench-1") as probe:
            probe.connect()
            probe.send([_reading(n) for n in range(100)])
            assert probe.drain(30)
        with host.store.read() as tx:
            assert readings.count(tx) == 100
    assert said == []


def test_others_can_find_the_broker_of_a_running_host(tmp_path: Path) -> None:
    settings = made_home(tmp_path, broker__port=0)
    assert running_host(tmp_path) is None
    with Host(settings) as host:
        running = running_host(tmp_path)
        assert running is not None
        assert (running.broker_host, running.broker_port) == host.broker_address
        assert running.ended_ms is None
    assert running_host(tmp_path) is None
    ended = last_running(tmp_path)
    assert ended is not None
    assert ended.ended_ms is not None


def test_a_second_host_is_refused_in_one_home_and_on_one_store(tmp_path: Path) -> None:
    url = f"sqlite:///{tmp_path}/elsewhere/store.sqlite3"
    (tmp_path / "elsewhere").mkdir()
    one, two = (made_home(tmp_path / name, broker__port=0, store__url=url) for name in ("one", "two"))
    with Host(one):
        with pytest.raises(UsageError, match="already runs"):
            Host(one).start()
        with pytest.raises(UsageError, match="already runs"):
            Host(two).start()
    with Host(two):
        pass


def test_without_a_garden_it_does_not_start_and_leaves_nothing_behind(tmp_path: Path) -> None:
    settings = load(tmp_path, environ={}, overrides={"broker.port": 0})
    for _ in range(2):
        with pytest.raises(UsageError, match="There is no garden"):
            Host(settings).start()


def test_it_may_be_stopped_twice_and_before_it_was_started(tmp_path: Path) -> None:
    host = Host(made_home(tmp_path, broker__port=0))
    host.stop()
    host = Host(made_home(tmp_path, broker__port=0))
    host.start()
    host.stop()
    host.stop()


@pytest.mark.parametrize(("error", "code"), [(ValueError("a fault"), 1), (StoreError("damaged"), 6)])
def test_a_thread_that_fails_brings_the_whole_host_down(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, error: Exception, code: int
) -> None:
    def fails(self: Ingest) -> None:
        time.sleep(0.1)
        raise error

    monkeypatch.setattr(Ingest, "run", fails)
    with Host(made_home(tmp_path, broker__port=0)) as host, pytest.raises(TraywardenError) as down:
        host.wait()
    assert str(error) in str(down.value)
    assert down.value.exit_code == code


def test_a_thread_that_ends_by_itself_brings_the_whole_host_down(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(Ingest, "run", lambda self: None)
    with (
        Host(made_home(tmp_path, broker__port=0)) as host,
        pytest.raises(TraywardenError, match="store readings has ended by itself"),
    ):
        host.wait()


def test_the_clock_of_a_recording_goes_on_where_the_stored_readings_end(tmp_path: Path) -> None:
    settings = made_home(tmp_path, broker__port=0, host__clock="readings")
    with Store.open(settings.store_url) as store, store.write() as tx:
        arrived = [_reading(n)._replace(received_ms=_reading(9).time_ms) for n in (0, 5)]
        from_tomorrow = _reading(86_400)._replace(received_ms=_reading(9).time_ms)
        readings.insert(tx, [*arrived, from_tomorrow, Reading("bench-1", 1, -1, 0, 0, 0, 20.0)])
    with Host(settings) as host:
        assert host.clock.now_ms() == _reading(5).time_ms


def test_nobody_takes_over_while_the_desk_keeps_up_on_another_thread(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """As in a demo whose settings are changed while it plays: two that judge would tell things twice."""
    monkeypatch.setattr(following, "LOOK_S", 0.02)
    ended, stood, stop = threading.Event(), list[bool](), Desk.stop

    def keep_up(watch: Watch) -> None:
        change_settings(tmp_path, {"dry.open_delay_s": 60.0})
        stood.append(not ended.wait(0.4))

    def ends(desk: Desk) -> None:
        ended.set()
        stop(desk)

    with Host(made_home(tmp_path, broker__port=0), say=print) as host:
        monkeypatch.setattr(Watch, "keep_up", keep_up)
        monkeypatch.setattr(Desk, "stop", ends)
        host.keep_up()
        assert ended.wait(10)
    assert stood == [True]


def test_what_a_channel_is_still_given_when_another_desk_takes_over_stays_as_it_is_till_then(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Else it could be spared or told anew while it goes out."""
    monkeypatch.setattr(following, "LOOK_S", 0.02)
    monkeypatch.setattr(Deliver, "stop", partialmethod(Deliver.stop, 0.0))
    given, lets_go, asked = threading.Event(), threading.Event(), list[Callable[[str], bool]]()
    made = LettingGo.__init__

    def makes(one: LettingGo, *args: Any) -> None:
        asked.append(args[-1])
        made(one, *args)

    def hangs(message: str) -> None:
        if "a title" in message:
            given.set()
            assert lets_go.wait(10)

    monkeypatch.setattr(LettingGo, "__init__", makes)
    with Host(made_home(tmp_path, broker__port=0), say=hangs) as host:
        with host.store.write() as tx:
            notice_store.put(
                tx, [Notice("n", "console", "urgent", "a title", "", (), 1, NoticeState.WAITING)]
            )
        assert given.wait(10)
        change_settings(tmp_path, {"dry.open_delay_s": 60.0})
        first = host.watch
        _until(lambda: host.watch is not first)
        assert asked[-1]("n")
        assert not asked[-1]("another")
        lets_go.set()
        _until(lambda: not asked[-1]("n"))


def _until(holds: Callable[[], bool]) -> None:
    until_s = time.monotonic() + 10
    while not holds():
        assert time.monotonic() < until_s
        time.sleep(0.01)
