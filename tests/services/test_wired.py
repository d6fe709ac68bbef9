"""Probes on a cable: their readings are stored and receipted like any other, whatever is pulled out."""

from functools import partial
from pathlib import Path

import pytest

from tests.cables import Cable, until
from tests.system.hosts import HostProcess, Nursery, made_home
from traywarden.errors import BoardError
from traywarden.links.serial import SerialLine
from traywarden.services.host import Host
from traywarden.settings import Settings
from traywarden.store import probes, quarantine, readings
from traywarden.store.store import Store

pytestmark = pytest.mark.system


def home(folder: Path, cable: Cable) -> Settings:
    return made_home(folder / "home", broker__port=0, wired__ports=f"{cable.path}")


def stored(store: Store) -> list[int]:
    with store.read() as tx:
        return readings.stored_sequences(tx, "bench-1", 3)


def _holds(host: Host, enough: int) -> bool:
    return len(stored(host.store)) >= enough


def _measured(cable: Cable, enough: int) -> bool:
    return cable.measured >= enough


def test_what_comes_over_the_cable_is_stored_and_receipted(tmp_path: Path) -> None:
    said: list[str] = []
    with Cable(tmp_path) as cable:
        cable.plug_in(per_s=20)
        with Host(home(tmp_path, cable), say=said.append) as host:
            until(lambda: len(stored(host.store)) >= 30)
            until(lambda: cable.heard("receipt"))
            until(lambda: cable.heard("settings"))
            with host.store.read() as tx:
                assert probes.probe_named(tx, "bench-1").state["state"] == "awake"
                assert quarantine.listed(tx, 10) == []
            cable.pull_out()
            held = stored(host.store)
    assert held == list(range(1, held[-1] + 1))
    assert cable.heard("settings")["limits"] == {}
    assert all("gone" in sentence for sentence in said)


def test_a_plug_pulled_and_put_back_loses_nothing_and_doubles_nothing(tmp_path: Path) -> None:
    said: list[str] = []
    with Cable(tmp_path) as cable, Host(home(tmp_path, cable), say=said.append) as host:
        for _ in range(3):
            enough = len(stored(host.store)) + 10
            cable.plug_in(per_s=20)
            until(partial(_holds, host, enough))
            cable.pull_out()
        cable.plug_in(per_s=0.001)
        until(lambda: not cable.held)
        assert stored(host.store) == list(range(1, cable.measured + 1))
        with host.store.read() as tx:
            assert readings.count(tx) == cable.measured
    assert "There is no" in said[0]
    assert "The probe “bench-1” is on" in said[1]


def test_a_host_that_is_killed_again_and_again_ends_with_every_reading_once(tmp_path: Path) -> None:
    with Nursery() as nursery, Cable(tmp_path) as cable:
        settings = home(tmp_path, cable)
        host = HostProcess(settings.home, nursery=nursery)
        cable.plug_in(per_s=50)
        for _ in range(4):
            with host:
                until(partial(_measured, cable, cable.measured + 15))
        cable.pull_out()
        cable.plug_in(per_s=0.001)
        with host:
            until(lambda: not cable.held)
        with Store.open(settings.store_url) as store:
            assert stored(store) == list(range(1, cable.measured + 1))
            with store.read() as tx:
                assert readings.count(tx) == cable.measured
    assert cable.measured > 60


def test_a_probe_of_another_garden_is_put_aside_as_it_would_be_over_mqtt(tmp_path: Path) -> None:
    with Cable(tmp_path, garden="elsewhere") as cable:
        cable.plug_in(per_s=20)
        with Host(home(tmp_path, cable), say=lambda sentence: None) as host:

            def refused() -> list[str]:
                with host.store.read() as tx:
                    return [row.reason for row in quarantine.listed(tx, 10)]

            until(refused)
            assert "names the garden “elsewhere”" in refused()[0]
            assert stored(host.store) == []


def test_a_port_is_used_by_one_program_at_a_time(tmp_path: Path) -> None:
    with Cable(tmp_path) as cable:
        cable.plug_in()
        with (
            SerialLine(str(cable.path)),
            pytest.raises(BoardError, match="Another program uses"),
        ):
            SerialLine(str(cable.path))
