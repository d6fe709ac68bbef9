"""What a wake needs of a board's memory, measured in the genuine interpreter while it drains a full spool.

The WebAssembly build of MicroPython collects garbage only when no Python runs, so its own figures cannot tell
how much a wake needs at once. The bench looks into the interpreter's memory instead, every few byte codes,
and marks what is reachable as MicroPython's collector does (tests/interpreter/heap.mjs): words of four
bytes and blocks of sixteen, as on a board. Counted is what the wake adds to the loaded modules, which are
frozen into a board's flash or loaded once.
"""

import base64
from pathlib import Path

import pytest

from probe import record
from probe.spool import Spool
from tests.interpreter.fakes.cases import Flash
from tests.interpreter.fortnight import HOSTS
from tests.interpreter.node import Node, modules
from tests.interpreter.probes import BENCH, settings
from tests.system.hosts import made_home
from traywarden.services.host import Host
from traywarden.store import readings

pytestmark = pytest.mark.system
READINGS = 500
MOST_BYTES = 60 * 1024
NOW_MS = 1_790_000_000_000
LOADED = [
    f"import {name.removesuffix('.py').removesuffix('/__init__').replace('/', '.')}" for name in modules()
]
EVERY = 100
"""Calls inside the interpreter between two looks at its memory."""


def test_a_wake_with_500_spooled_readings_needs_at_most_60_kib(tmp_path: Path) -> None:
    flash = Flash()
    spool = Spool(flash, "data/spool")
    for number in range(READINGS):
        values = {
            (0, "air_temperature"): 5.0,
            (0, "relative_humidity"): 10 + number % 400 * 0.2,
            (0, "battery"): 3.9,
            (1, "soil_temperature"): 12.5,
            (1, "moisture_voltage"): 1.75,
        }
        mark_ms = number * 600_000
        instant = record.Instant(7, number + 1, mark_ms, NOW_MS + mark_ms, values)
        spool.append([record.pack(instant)])
    board = "f412fa000001"
    with Host(made_home(tmp_path, broker__port=0), say=lambda sentence: None) as host, Node() as node:
        files = {f"/{path}": data for path, data in flash.held.items()}
        files["/settings.json"] = settings("probe-1", host.broker_address[1])
        node.order("board", board=board, flash={p: base64.b64encode(d).decode() for p, d in files.items()})
        script = {"now_ms": NOW_MS + READINGS * 600_000, "hosts": HOSTS, "bench": BENCH}
        answer = node.wake(board, script, measure=EVERY, heap=4 << 20, before=LOADED)
        with host.store.read() as tx:
            stored = readings.count(tx)
    assert answer["ended"] == "deep sleep"
    assert stored >= READINGS
    peak = answer["peak"]
    needed = peak["live"] - peak["before"]
    print(
        f"\nA wake that drains {READINGS} readings needs {needed / 1024:.1f} KiB of heap beside its code "
        f"(looked at {peak['samples']} times); it lasts {answer['awake_ms'] / 1000:.1f} s."
    )
    assert peak["samples"] > 1000
    assert needed <= MOST_BYTES


def test_what_is_reachable_is_counted_and_garbage_is_not(tmp_path: Path) -> None:
    hold = "held = [bytes(10000)]\nfor n in range(2000):\n    n == bytes(n)\n"
    with Node() as node:
        garbage = node.wake("f412fa000002", {"now_ms": 0}, code=[hold], measure=20, heap=4 << 20)["peak"]
    assert 10_000 <= garbage["live"] - garbage["before"] < 16_000
    assert garbage["allocated"] > 1_000_000
