"""A process killed at any moment leaves exactly what it had committed."""

import random
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from tests.store.sample import all_readings
from traywarden.store.store import Store

BATCH = 300
ROOT = Path(__file__).parents[2]
WRITER = f"""
import sys
from tests.store.sample import all_readings, reading
from traywarden.store import readings
from traywarden.store.store import Store

store = Store.open(sys.argv[1])
batch = len(all_readings(store)) // {BATCH}
while True:
    with store.write() as tx:
        half = {BATCH} // 2
        rows = [reading(batch * {BATCH} + n) for n in range({BATCH})]
        readings.insert(tx, rows[:half])
        readings.insert(tx, rows[half:])
    batch += 1
    print(batch, flush=True)
"""


@pytest.mark.system
def test_a_writer_killed_at_any_moment_leaves_whole_transactions_and_all_it_said_were_done(
    empty_url: str,
) -> None:
    seed = random.SystemRandom().randrange(1 << 32)
    moments = random.Random(seed)
    for _ in range(8):
        command = [sys.executable, "-c", WRITER, empty_url]
        with subprocess.Popen(command, stdout=subprocess.PIPE, cwd=ROOT) as writer:
            assert writer.stdout is not None
            said = [writer.stdout.readline()]
            time.sleep(moments.uniform(0, 0.15))
            writer.send_signal(signal.SIGKILL)
            said += writer.stdout.readlines()
        with Store.open(empty_url) as store:
            kept = [row.sequence for row in all_readings(store)]
        # the last line may have been cut off by the kill, so only whole lines count
        promised = max(int(line) for line in said if line.endswith(b"\n"))
        assert kept == list(range(len(kept))), f"seed {seed}"
        assert len(kept) % BATCH == 0, f"seed {seed}"
        assert len(kept) >= promised * BATCH, f"seed {seed}"
