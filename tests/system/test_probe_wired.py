"""A probe on a cable: the genuine interpreter behind a real pseudo-terminal, into the host's real ingest.

The host opens the terminal as it opens any port.
"""

import time
from collections.abc import Iterator
from functools import partial
from pathlib import Path
from typing import Any

import pytest

from tests.cables import until
from tests.interpreter.wired import READ_S, RISES_UV_S, Wired
from tests.system.hosts import made_home
from traywarden.services.host import Host
from traywarden.store import probes, quarantine, readings
from traywarden.store.store import Store

pytestmark = pytest.mark.system


@pytest.fixture
def wired(tmp_path: Path) -> Iterator[Wired]:
    made = Wired(tmp_path / "ttyACM0")
    yield made
    made.node.close()


def rows(store: Store) -> list[Any]:
    """(sequence, time [ms], how long it was awake [ms], unsure?) of the air's readings."""
    with store.read() as tx:
        found = tx.exec_driver_sql(
            "SELECT sequence, time_ms, battery_v, extra FROM reading JOIN head USING (head_id) "
            "WHERE number = 0 ORDER BY boot, sequence"
        )
        return [
            (row[0], row[1], (row[2] / 2 - 1) / RISES_UV_S * 1e9, "time_unsure" in (row[3] or ""))
            for row in found
        ]


def state(store: Store) -> dict[str, Any]:
    with store.read() as tx:
        found = [probe for probe in probes.probes(tx) if probe.name == "probe-1"]
        return dict(found[0].state) if found else {}


def all_there(store: Store, enough: int) -> bool:
    """So many are stored, and the probe holds no more."""
    return len(rows(store)) >= enough and state(store).get("spool") == 0


def test_a_host_that_comes_late_and_goes_between_has_every_reading_once_at_its_time(
    wired: Wired, tmp_path: Path
) -> None:
    """In real time. The probe hears no time server: the host at the other end tells it what time it is."""
    home = made_home(tmp_path / "home", broker__port=0, wired__ports=str(wired.path))
    with wired.plugged_in():
        for seconds, enough in ((6, 2), (4, 3)):
            time.sleep(seconds)
            with Host(home, say=lambda sentence: None) as host:
                until(partial(all_there, host.store, enough))
                said = state(host.store)
                with host.store.read() as tx:
                    assert quarantine.listed(tx, 10) == []
                    assert readings.count(tx) == 2 * len(rows(host.store))  # the air's and one head's
    assert said["state"] == "awake"
    assert set(said["faults"]) <= {"broker: USB: no host answers"}
    assert said["sync_age_s"] is not None
    with Store.open(home.store_url) as store:
        stored = rows(store)
    assert [row[0] for row in stored] == list(range(1, len(stored) + 1))
    out_ms = [time_ms - wired.began_ms - awake_ms for _, time_ms, awake_ms, _ in stored]
    print(f"\n{len(stored)} readings over the cable, dated {min(out_ms):.0f} to {max(out_ms):.0f} ms off")
    assert not any(unsure for _, _, _, unsure in stored)
    assert max(map(abs, out_ms)) < 3000


def test_without_a_host_it_keeps_everything_and_waits_on_the_cable(wired: Wired) -> None:
    with wired.plugged_in(pace=0.0005, minutes=4):
        pass
    flash = wired.flash()
    assert "/mishap.txt" not in flash
    lines = [data for path, data in flash.items() if path.endswith(".log")]
    assert sum(map(len, lines)) > 4 * 60 / READ_S * 50
