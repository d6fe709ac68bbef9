"""A million rows of a logger file into SQLite, against pandas and the bare sqlite3 module doing the same.

The baseline reads the file with `pandas.read_csv`, turns the stamps into instants and writes the same values
into the same table with `executemany`, in commits of the same size, with the same durability. It checks
nothing: no limits, no duplicates, no daylight saving, no line numbers.
"""

import json
import statistics
import subprocess
import sys
import tempfile
from pathlib import Path

import numpy as np

from tests.benchmarks.figures import Figure

ROWS = 1_000_000
BATCH_ROWS = 5_000
ROUNDS = 3
LEAST_ROWS_PER_S = 50_000
LEAST_RATIO = 0.25
MOST_MIB = 300

# The kernel's own high-water mark of this program; getrusage would give the parent's where that is higher.
_PEAK = """
import json, sys, time
from pathlib import Path
def peak_mib():
    status = Path("/proc/self/status").read_text()
    return next(int(line.split()[1]) / 1024 for line in status.splitlines() if line.startswith("VmHWM"))
"""
_OURS = """
from traywarden.services.importing import import_file
from traywarden.services.mapping import load_mapping
from traywarden.store.store import Store
folder, rows, batch = Path(sys.argv[1]), int(sys.argv[2]), int(sys.argv[3])
before = peak_mib()
with Store.open(f"sqlite:///{folder / 'ours.sqlite3'}") as store:
    began = time.perf_counter()
    result = import_file(store, folder / "log.csv", load_mapping(folder / "log.toml"), "log",
                         received_ms=0, batch_rows=batch)
    took = time.perf_counter() - began
assert result.readings_new == rows and not result.counts, result
print(json.dumps({"per_s": rows / took, "peak_mib": peak_mib(), "start_mib": before}))
"""
_BASELINE = """
import sqlite3
import pandas as pd
folder, rows, batch = Path(sys.argv[1]), int(sys.argv[2]), int(sys.argv[3])
db = sqlite3.connect(folder / "baseline.sqlite3")
db.execute("PRAGMA journal_mode = WAL")
db.execute("PRAGMA synchronous = FULL")
db.execute('''CREATE TABLE reading (head_id INTEGER, time_ms BIGINT, boot BIGINT, sequence BIGINT,
    received_ms BIGINT NOT NULL, soil_temp_c FLOAT, moisture_m3_m3 FLOAT,
    PRIMARY KEY (head_id, time_ms, boot, sequence)) WITHOUT ROWID''')
db.execute("CREATE UNIQUE INDEX identity ON reading (head_id, boot, sequence)")
db.commit()
began = time.perf_counter()
frame = pd.read_csv(folder / "log.csv")
stamps = pd.to_datetime(frame["time"], format="%Y-%m-%d %H:%M").dt.tz_localize("Etc/GMT+6")
times = (stamps.dt.tz_convert("UTC").dt.tz_localize(None).astype("datetime64[ms]").astype("int64")).tolist()
table = list(zip([1] * rows, times, [-2] * rows, times, [0] * rows, frame["soil"].tolist(),
                 (frame["moist"] / 100).tolist()))
for start in range(0, rows, batch):
    db.executemany("INSERT INTO reading VALUES (?, ?, ?, ?, ?, ?, ?)", table[start:start + batch])
    db.commit()
took = time.perf_counter() - began
assert db.execute("SELECT count(*) FROM reading").fetchone() == (rows,)
db.close()
print(json.dumps({"per_s": rows / took, "peak_mib": peak_mib()}))
"""
_MAPPING = """
[time]
columns = "time"
offset = "-06:00"

[[column]]
name = "soil"
head = 1
quantity = "soil_temp_c"
unit = "°C"

[[column]]
name = "moist"
head = 1
quantity = "moisture_m3_m3"
unit = "%"
"""


def write_log(folder: Path, rows: int) -> None:
    """A minute-by-minute log: stamp, soil temperature, moisture, and two columns nobody asked for."""
    stamps = np.datetime_as_string(
        np.datetime64("2020-01-01T00:00") + np.arange(rows).astype("timedelta64[m]"), unit="m"
    )
    with (folder / "log.csv").open("w", encoding="utf-8") as file:
        file.write("time,soil,moist,wind,panel\n")
        for n, stamp in enumerate(stamps.tolist()):
            soil, moist = 8 + n % 1440 / 100, 20 + n % 977 / 50
            file.write(f"{stamp.replace('T', ' ')},{soil:.2f},{moist:.2f},{n % 7},{n % 89}\n")
    (folder / "log.toml").write_text(_MAPPING, encoding="utf-8")


def _measured(program: str, folder: Path, rows: int) -> dict[str, float]:
    told = subprocess.run(
        [sys.executable, "-c", _PEAK + program, str(folder), str(rows), str(BATCH_ROWS)],
        stdout=subprocess.PIPE,
        timeout=600,
        check=True,
    )
    for left in folder.glob("*.sqlite3*"):
        left.unlink()
    said: dict[str, float] = json.loads(told.stdout)
    return said


def run(rows: int = ROWS) -> list[Figure]:
    ours: list[dict[str, float]] = []
    baselines: list[dict[str, float]] = []
    with tempfile.TemporaryDirectory() as name:
        write_log(Path(name), rows)
        for turn in range(ROUNDS):
            # they take turns in going first, as whatever else runs comes and goes
            for program in (_OURS, _BASELINE) if turn % 2 else (_BASELINE, _OURS):
                (ours if program is _OURS else baselines).append(_measured(program, Path(name), rows))
        size_mib = (Path(name) / "log.csv").stat().st_size / 2**20
    return [
        Figure(
            f"{rows:,} rows ({size_mib:.0f} MiB) imported",
            statistics.median(one["per_s"] for one in ours),
            "rows/s committed",
            statistics.median(one["per_s"] for one in baselines),
            "rows/s of pandas.read_csv and sqlite3.executemany",
            least=LEAST_ROWS_PER_S,
            least_ratio=LEAST_RATIO,
        ),
        Figure(
            f"resident memory at most (baseline {max(one['peak_mib'] for one in baselines):,.0f}, "
            f"before the import {max(one['start_mib'] for one in ours):,.0f})",
            max(one["peak_mib"] for one in ours),
            "MiB",
            most=MOST_MIB,
        ),
    ]
