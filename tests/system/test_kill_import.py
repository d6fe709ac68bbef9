"""An import killed at any moment leaves whole batches behind, and running it again makes it complete."""

import os
import random
import subprocess
import sys
import time
from pathlib import Path

import pytest

from tests.benchmarks.imports import write_log
from traywarden.store import readings
from traywarden.store.store import Store

ROWS = 150_000
KILLS = min(20, int(os.environ.get("TRAYWARDEN_KILLS", "3")))


def importing(folder: Path) -> "subprocess.Popen[bytes]":
    command = "import sys; from traywarden.cli.main import main; sys.exit(main())"
    words = ["--home", str(folder), "import", str(folder / "log.csv"), "--map", str(folder / "log.toml")]
    return subprocess.Popen([sys.executable, "-c", command, *words], stdout=subprocess.DEVNULL)


def rows_stored(store: Store) -> int:
    with store.read() as tx:
        return readings.count(tx)


@pytest.mark.system
def test_killed_imports_lose_and_double_nothing(tmp_path: Path) -> None:
    write_log(tmp_path, ROWS)
    counts = [0]
    with Store.open(f"sqlite:///{tmp_path / 'traywarden.sqlite3'}") as store:
        for _ in range(KILLS):
            process = importing(tmp_path)
            # Killed at a random moment after it has stored something new.
            until_s = time.monotonic() + 60
            while rows_stored(store) <= counts[-1] and process.poll() is None and time.monotonic() < until_s:
                time.sleep(0.01)
            time.sleep(random.uniform(0, 0.1))
            process.kill()
            process.wait(20)
            counts.append(rows_stored(store))
        assert 0 < counts[1] < ROWS, "the first kill came in the middle"
        assert counts == sorted(counts)
        assert importing(tmp_path).wait(120) == 0
        assert rows_stored(store) == ROWS
