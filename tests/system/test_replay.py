"""A real recording, replayed through a real broker into the real host, is stored as it stands in the file."""

import csv
import json
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import datetime, timedelta, timezone
from pathlib import Path

import numpy as np
import pytest

from tests.shared_data import shared_file
from tests.system.brokers import mosquitto
from tests.system.hosts import HostProcess, made_home
from traywarden.cli.main import main
from traywarden.store import probes, readings
from traywarden.store.store import Store

BONDVILLE = "field_bondville_1998.csv"
MAPPING = Path(__file__).parents[1] / "services" / "mappings" / "bondville.toml"
WEST = timezone(timedelta(hours=-6))
FIRST, LAST = "1998-08-08T00:00-06:00", "1998-08-22T00:00-06:00"
OLD = {"host__clock": "readings", "wire__earliest_year": 1990}


@contextmanager
def hosted(home: Path, kind: str) -> Iterator[Store]:
    """A host on its built-in broker or on mosquitto, and its store."""
    if kind == "builtin":
        settings = made_home(home, broker__port=0, **OLD)
        with HostProcess(home), Store.open(settings.store_url) as store:
            yield store
        return
    with mosquitto(home / "broker") as broker:
        settings = made_home(home, broker__builtin=False, broker__port=broker.port, **OLD)
        with HostProcess(home), Store.open(settings.store_url) as store:
            yield store


def replay(home: Path, *words: str) -> int:
    return main(["--home", str(home), "replay", *words])


def fortnight() -> list[dict[str, str]]:
    first, last = datetime.fromisoformat(FIRST), datetime.fromisoformat(LAST)
    with shared_file(BONDVILLE).open(encoding="utf-8", newline="") as file:
        rows = [row | {"at": row["time_lst"].replace(" ", "T") + "-06:00"} for row in csv.DictReader(file)]
    return [row for row in rows if first <= datetime.fromisoformat(row["at"]) < last]


def check(store: Store, probe: str, rows: list[dict[str, str]]) -> None:
    """Every value of the file's rows is in the store, and nothing else is."""
    columns = (
        (0, "air_temp_c", "air_temp_c", 1.0),
        (0, "rh_pct", "rh_pct", 1.0),
        (0, "rain_in", "rain_mm", 25.4),
        (1, "soil_temp_2cm_c", "soil_temp_c", 1.0),
        (1, "soil_moisture_5cm_m3_m3", "moisture_m3_m3", 1.0),
    )
    with store.read() as tx:
        for head, name, column, factor in columns:
            found = readings.columns(tx, probes.head_labelled(tx, f"{probe}/{head}").head_id, 0, 2**53)
            kept = ~np.isnan(found.values[column])
            wanted = [row for row in rows if row[name] != "-6999"]
            stamps = [round(datetime.fromisoformat(row["at"]).timestamp() * 1000) for row in wanted]
            assert found.time_ms[kept].tolist() == stamps, name
            # 1e-9: inches become millimetres by one multiplication, rounded to ten decimals.
            assert found.values[column][kept] == pytest.approx(
                [float(row[name]) * factor for row in wanted], abs=1e-9
            )


@pytest.mark.system
@pytest.mark.data
@pytest.mark.parametrize("kind", ["mosquitto", "builtin"])
def test_a_fortnight_of_bondville_reaches_the_store_as_it_stands_in_the_file(
    tmp_path: Path, kind: str, capsys: pytest.CaptureFixture[str]
) -> None:
    rows = fortnight()
    words = (str(shared_file(BONDVILLE)), "--map", str(MAPPING), "--probe", "field", "--from", FIRST)
    with hosted(tmp_path, kind) as store:
        assert replay(tmp_path, *words, "--to", LAST, "--json") == 0
        said = json.loads(capsys.readouterr().out)
        assert (said["instants"], len(rows)) == (14 * 48, 14 * 48)
        check(store, "field", rows)
        with store.read() as tx:
            before = readings.count(tx)
        assert replay(tmp_path, *words, "--to", LAST) == 0, "again: everything is known already"
        with store.read() as tx:
            assert readings.count(tx) == before
        again = ("--from-store", "--probe", "field", "--as", "copy", "--from", FIRST, "--to", LAST)
        assert replay(tmp_path, *again) == 0
        check(store, "copy", rows)


@pytest.mark.system
@pytest.mark.data
def test_without_a_host_the_replay_says_that_nothing_was_receipted(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    made_home(tmp_path, broker__builtin=False, broker__port=1)
    words = (str(shared_file(BONDVILLE)), "--map", str(MAPPING), "--probe", "field")
    assert replay(tmp_path, *words) == 7
    assert "No MQTT broker took us at 127.0.0.1:1" in capsys.readouterr().err
