"""A host that is down while the broker runs: what a probe sends meanwhile must not be dated by its arrival.

The broker keeps what is published for the host's session, and hands it over when the host is back, hours
later. A pack that says only “so long ago” would then be dated by when that was.
"""

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pytest

from tests.interpreter.fortnight import HOUR_MS, MINUTE_MS, Lives, Probe
from tests.interpreter.node import Node
from tests.system.probes_home import Home, arrived_once

pytestmark = pytest.mark.system
START_MS = 1_790_000_000_000
DOWN_MS = (START_MS + 1 * HOUR_MS, START_MS + 5 * HOUR_MS)
END_MS = START_MS + 9 * HOUR_MS


@contextmanager
def lived(folder: Path, patch: pytest.MonkeyPatch, **more: Any) -> Iterator[tuple[Home, Probe, Lives]]:
    """A probe without a time server and with a clock 5 % slow, through hours without the host."""
    home = Home(folder, False, patch, START_MS, [(*DOWN_MS, False)])
    try:
        with Node() as node:
            lives = Lives(node, home.at)
            probe = lives.begin("probe-1", "f412fd000001", 0.95, home.port, ntp={"host": ""}, **more)
            now_ms: int | None = START_MS
            while now_ms is not None and now_ms < END_MS:
                _, now_ms = lives.wake(probe, lives.bench(probe, now_ms))
            assert lives.troubles == []
        yield home, probe, lives
    finally:
        home.close()


@pytest.fixture
def played(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Callable[..., Any]:
    return lambda **more: lived(tmp_path, monkeypatch, **more)


def test_what_was_made_while_the_host_was_down_has_its_own_time(played: Callable[..., Any]) -> None:
    with played() as (home, probe, _):
        found = arrived_once(home, probe)
        down = [n for n, at_ms in enumerate(probe.measured_ms) if DOWN_MS[0] <= at_ms < DOWN_MS[1]]
        assert len(down) > 20
        assert set(down) <= home.stored("probe-1")
        assert found.unsure == 0
        print(
            f"\n{found.stored} readings, {len(down)} made while the host was down: {found.worst_s:.1f} s out"
        )


def test_without_receipts_it_goes_out_at_once_and_says_that_its_time_is_unsure(
    played: Callable[..., Any],
) -> None:
    """The broker's word is all such a probe waits for, so it cannot know when the host will see it."""
    with played(receipts=False) as (home, probe, _):
        rows = home.rows("probe-1")
        late = [
            row.number
            for row in rows
            if abs(row.time_ms - probe.measured_ms[row.number]) > 30 * 1000 and not row.unsure
        ]
        assert late == []
        assert sum(row.unsure for row in rows) > 20
        assert max(abs(row.time_ms - probe.measured_ms[row.number]) for row in rows) > 30 * MINUTE_MS
