"""Whatever happens to a probe between and within its wakes, in any order: on the genuine interpreter.

The events are those that tests/firmware/test_cycle.py plays on CPython, a few of them against the real host.
"""

from collections.abc import Iterator
from typing import Any

import pytest
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import strategies as st

from tests.firmware.test_cycle import event
from tests.interpreter.fortnight import MINUTE_MS, Lives, Probe
from tests.interpreter.node import Node
from tests.system.probes_home import Home, arrived_once

pytestmark = pytest.mark.system
START_MS = 1_790_000_000_000
BUDGET_S = 25
CABLE_MS = 6_000
MOST_WAKES_TO_DRAIN = 120
"""After hours without success a probe tries again only after hours."""
BROKEN: dict[str, dict[str, Any]] = {
    "network": {"wifi": "refused"},
    "broker": {"broker": "refused"},
    "receipts": {"replies_after": 30},
    "ntp": {"ntp": "silent"},
}
SILENT: dict[str, dict[str, Any]] = {
    "network": {"wifi": "silent"},
    "broker": {"broker": "silent"},
    "receipts": {"swallow_after": 500},
}


@pytest.fixture(scope="module")
def home(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Home]:
    with pytest.MonkeyPatch.context() as patch:
        made = Home(tmp_path_factory.mktemp("home"), True, patch, START_MS)
        made.at(START_MS, 0)
        yield made
        made.close()


@pytest.fixture(scope="module")
def node() -> Iterator[Node]:
    with Node() as started:
        yield started


class Life(Lives):
    """One probe, and what of its world does not work at the moment."""

    latest = 0

    def __init__(self, node: Node, home: Home, rate: float) -> None:
        super().__init__(node, home.at)
        Life.latest += 1
        self.probe: Probe = self.begin(
            f"probe-{Life.latest}", f"f412fa{Life.latest:06x}", rate, home.port, budget_s=BUDGET_S
        )
        self.now_ms = START_MS
        self.broken: set[str] = set()
        self.cut: dict[str, int] | None = None

    def live(self, wakes: int) -> None:
        for _ in range(wakes):
            script = self.bench(self.probe, self.now_ms)
            for what in self.broken - {"silent"}:
                script |= (SILENT if "silent" in self.broken else BROKEN).get(what, BROKEN[what])
            if self.cut is not None:
                script["cut"] = self.cut
            over_ms, next_ms = self.wake(self.probe, script)
            if next_ms is None:
                self.cut = None
                next_ms = over_ms + MINUTE_MS
            self.now_ms = next_ms

    def happens(self, what: str, number: int) -> None:
        if what == "cut":
            self.cut = {"bytes": number} if number % 2 else {"calls": 10 * number + 1}
        elif what == "power":
            self.now_ms += number * 10
            self.lose_power(self.probe, self.now_ms)
        elif what == "reset":
            self.node.order("board", board=self.probe.board, reset="watchdog")
        elif what in ("wake", "hour"):
            self.live(1 if what == "wake" else number % 12)
        else:
            self.broken ^= {what}


@settings(max_examples=30, suppress_health_check=[HealthCheck.too_slow], phases=[Phase.reuse, Phase.generate])
@given(
    events=st.lists(st.tuples(event, st.integers(0, 400)), min_size=8, max_size=30),
    rate=st.floats(0.95, 1.05),
)
def test_whatever_happens_each_spooled_reading_arrives_once_at_its_time(
    node: Node, home: Home, events: list[tuple[str, int]], rate: float
) -> None:
    life = Life(node, home, rate)
    life.live(1)
    for what, number in events:
        life.happens(what, number)
    life.broken.clear()
    life.cut = None
    for _ in range(MOST_WAKES_TO_DRAIN):
        life.live(1)
        if life.probe.reached <= home.stored(life.probe.name):
            break
    assert life.troubles == []
    assert life.probe.longest_ms <= BUDGET_S * 1000 + CABLE_MS
    arrived_once(home, life.probe)
