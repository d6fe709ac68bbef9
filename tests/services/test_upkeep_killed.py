"""Storing and packing killed at any moment: what was committed is there, and questions find all of it."""

import os
import random
import signal
import subprocess
import sys
import time
from pathlib import Path

import numpy as np
import pytest

from tests.store.sample import START_MS
from traywarden.domain.packing import DAY_MS
from traywarden.domain.quality import flag_columns
from traywarden.domain.readings import VALUE_COLUMNS
from traywarden.services.head_days import HeadDays
from traywarden.services.upkeep import earliest_ms, pack_days
from traywarden.settings import load
from traywarden.store import packed, probes, readings
from traywarden.store.store import Store

ROOT = Path(__file__).parents[2]
KILLS = min(40, int(os.environ.get("TRAYWARDEN_KILLS", "4")))
NOW_MS = START_MS + 400 * DAY_MS
WRITER = f"""
import sys, threading
from pathlib import Path
from traywarden.domain.readings import Reading
from traywarden.services import upkeep
from traywarden.settings import load
from traywarden.store import readings
from traywarden.store.store import Store

store, first = Store.open(sys.argv[1]), int(sys.argv[2])
settings = load(Path("/nowhere"), environ={{}})
upkeep.SLICE_DAYS = 3
def keep():
    while True:
        upkeep.pack_days(store, settings, {NOW_MS})
threading.Thread(target=keep, daemon=True).start()
for n in range(first, 10**9):
    # four hours at a time, every seventh of them late by ten days
    late = 60 if n % 7 == 3 else 0
    at = {START_MS} + (n - late) * 14_400_000
    soil = [(n * 24 + k) % 97 / 4 for k in range(24)]
    rows = [Reading("p", 1, n, k, at + k * 600_000, {NOW_MS}, soil_temp_c=soil[k]) for k in range(24)]
    with store.write() as tx:
        readings.insert(tx, rows)
    print(n, flush=True)
"""


@pytest.mark.system
def test_killed_at_any_moment_nothing_is_lost_and_no_answer_differs(empty_url: str) -> None:
    chosen = load(Path("/nowhere"), environ={})
    Store.open(empty_url).close()
    seed = random.SystemRandom().randrange(1 << 32)
    moments = random.Random(seed)
    done = -1
    for _ in range(KILLS):
        command = [sys.executable, "-c", WRITER, empty_url, str(done + 1)]
        with subprocess.Popen(command, stdout=subprocess.PIPE, cwd=ROOT) as writer:
            assert writer.stdout is not None
            said = [writer.stdout.readline()]
            time.sleep(moments.uniform(0, 0.6))
            writer.send_signal(signal.SIGKILL)
            said += writer.stdout.readlines()
        done = max(int(line) for line in said if line.endswith(b"\n"))
        with Store.open(empty_url) as store:
            with store.read() as tx:
                head_id = probes.head_labelled(tx, "p/1").head_id
                raw = readings.columns(tx, head_id, 0, NOW_MS)
                found = HeadDays(tx, earliest_ms(chosen)).columns(head_id, 0, NOW_MS)
                some_packed = packed.count(tx)
            assert raw.time_ms.size >= 24 * (done + 1), f"seed {seed}"
            np.testing.assert_array_equal(found.time_ms, raw.time_ms, f"seed {seed}")
            flags = flag_columns(raw, earliest_ms=earliest_ms(chosen))
            for name in VALUE_COLUMNS:
                np.testing.assert_array_equal(found.values[name], raw.values[name], f"seed {seed}")
                np.testing.assert_array_equal(found.flags[name], flags[name], f"seed {seed}")
            done = max(done, int(raw.boot.max()))
    assert some_packed > 0
    with Store.open(empty_url) as store:
        pack_days(store, chosen, NOW_MS)
        with store.read() as tx:
            assert packed.count_waiting(tx, NOW_MS // DAY_MS) == 0
            assert packed.count(tx) == len(set((raw.time_ms // DAY_MS).tolist()))
