"""`traywarden upkeep` makes questions quick where no host runs, and the doctor says when it is needed."""

import json
from pathlib import Path

import pytest

from tests.cli.conftest import NOW_MS, CommandLine
from traywarden.domain.readings import Reading
from traywarden.services import doctor
from traywarden.store import packed, readings

HOUR_MS = 3_600_000
DAYS = 20


def fill(run: CommandLine) -> None:
    run.ok("garden", "set", "Garden", "--time-zone", "Europe/Lisbon")
    with run.store() as store, store.write() as tx:
        rows = [
            Reading("p", 1, 1, n, NOW_MS - n * HOUR_MS, NOW_MS, soil_temp_c=15.0) for n in range(DAYS * 24)
        ]
        readings.insert(tx, rows)


def test_it_says_what_it_did_and_then_that_nothing_was_left(run: CommandLine) -> None:
    fill(run)
    assert f"{DAYS:,} days of readings packed" in run.ok("upkeep")
    assert "Nothing was left to do" in run.ok("upkeep")
    assert run.json("upkeep") == {"days_packed": 0, "results_kept": 0, "results_forgotten": 0}


def test_the_doctor_says_when_packing_is_behind(run: CommandLine, monkeypatch: pytest.MonkeyPatch) -> None:
    fill(run)

    def summaries() -> tuple[bool, str]:
        said = json.loads(run("doctor", "--json").out)  # no host runs, so its exit code is 1
        found = next(c for c in said["checks"] if c["name"] == "summaries")
        return found["ok"], found["says"]

    assert summaries() == (True, f"0 days packed; {DAYS} more wait for it")
    monkeypatch.setattr(doctor, "MANY_DAYS_UNPACKED", 10)
    behind, says = summaries()
    assert not behind
    assert says.startswith(f"{DAYS} days are not packed yet")
    run.ok("upkeep")
    assert summaries() == (True, f"{DAYS} days packed")


def test_an_import_packs_what_it_brought(run: CommandLine, tmp_path: Path) -> None:
    log = tmp_path / "log.csv"
    rows = [f"2024-05-{day:02} {hour:02}:00,{day}.5\n" for day in range(1, 11) for hour in range(24)]
    log.write_text("time,Soil temp (°C)\n" + "".join(rows), encoding="utf-8")
    run.ok("import", str(log), "--offset", "+00:00", "--yes")
    with run.store() as store, store.read() as tx:
        assert packed.count(tx) == 10
