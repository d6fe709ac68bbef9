"""A recording is played instant by instant, numbered so that playing it again is known again."""

from pathlib import Path

import numpy as np
import pytest

from traywarden.domain.readings import Reading
from traywarden.errors import BrokerError, ShortOfDataError, UnknownNameError
from traywarden.links.publisher import ProbePublisher
from traywarden.services.feeds import Tally
from traywarden.services.findings import Findings
from traywarden.services.mapping import mapping_from
from traywarden.services.replay import Recording, play, recording_from_file, recording_from_store
from traywarden.store import readings
from traywarden.store.store import Store
from traywarden.wire import packs

LONG = (
    "sensor,time,t\n"
    "a,2024-05-01 00:00,1\n"
    "a,2024-05-01 00:10,2\n"
    "a,2024-05-01 00:20,3\n"
    "b,2024-05-01 00:10,20\n"
    "b,2024-05-01 00:15,25\n"
)
FIRST_MS = 1_714_521_600_000  # 2024-05-01T00:00Z
MINUTE_MS = 60_000


def recorded(tmp_path: Path, text: str = LONG) -> Recording:
    path = tmp_path / "log.csv"
    path.write_text(text, encoding="utf-8")
    row = {"name": "t", "quantity": "soil_temp_c", "unit": "°C"}
    tree = {
        "time": {"columns": "time", "offset": "Z"},
        "column": [
            row | {"head": 1, "where": {"sensor": "a"}},
            row | {"head": 2, "where": {"sensor": "b"}},
        ],
    }
    return recording_from_file(path, mapping_from(tree, "test"), Findings(0), Tally())


def values(rows: list[Reading]) -> list[tuple[int, int, int, float | None]]:
    return [(r.sequence, (r.time_ms - FIRST_MS) // MINUTE_MS, r.head, r.soil_temp_c) for r in rows]


def test_heads_that_measured_together_share_an_instant(tmp_path: Path) -> None:
    assert values(recorded(tmp_path).instants("p", 0, 99)) == [
        (1, 0, 1, 1.0),
        (2, 10, 1, 2.0),
        (2, 10, 2, 20.0),
        (3, 15, 2, 25.0),
        (4, 20, 1, 3.0),
    ]


def test_a_part_keeps_its_numbers_and_a_grown_file_its_boot(tmp_path: Path) -> None:
    whole = recorded(tmp_path)
    part = whole.between(FIRST_MS + 10 * MINUTE_MS, FIRST_MS + 20 * MINUTE_MS)
    assert (part.sequence.tolist(), part.boot) == ([2, 3], whole.boot)
    grown = recorded(tmp_path, LONG + "a,2024-05-01 00:30,4\n")
    assert grown.boot == whole.boot
    assert values(grown.instants("p", 0, 4)) == values(whole.instants("p", 0, 4))


def test_moved_in_time_it_ends_when_told_and_is_another_boot(tmp_path: Path) -> None:
    whole = recorded(tmp_path)
    moved = whole.ending_at(1_800_000_000_000)
    assert moved.time_ms[-1] == 1_800_000_000_000
    assert np.diff(moved.time_ms).tolist() == np.diff(whole.time_ms).tolist()
    assert moved.boot != whole.boot


def test_what_a_pack_carries_is_what_was_recorded(tmp_path: Path) -> None:
    rows = recorded(tmp_path).instants("p", 0, 99)
    read = packs.readings_from_pack(packs.pack_from_readings(rows, oldest=1), "p", 0)
    assert [r._replace(received_ms=0) for r in rows] == read


def test_a_span_of_the_store_plays_all_that_its_heads_measured(store: Store) -> None:
    rows = [
        Reading("p", 0, 1, 1, FIRST_MS, 5, air_temp_c=4.0, battery_v=3.9),
        Reading("p", 1, 1, 1, FIRST_MS, 5, soil_temp_c=8.0, moisture_v=1.5),
        Reading("p", 1, 2, 1, FIRST_MS + 5, 5, soil_temp_c=9.0),
        Reading("q", 1, 1, 1, FIRST_MS, 5, soil_temp_c=0.0),
    ]
    with store.write() as tx:
        readings.insert(tx, rows)
    with store.read() as tx:
        found = recording_from_store(tx, "p", FIRST_MS, FIRST_MS + 6).instants("copy", 0, 9)
        assert [r[1:2] + r[3:5] + r[6:] for r in found] == [
            (r.head, 2 if r.boot == 2 else 1, r.time_ms, *r[6:]) for r in rows[:3]
        ]
        with pytest.raises(ShortOfDataError, match="nothing to replay"):
            recording_from_store(tx, "p", FIRST_MS + 6, FIRST_MS + 9)
        with pytest.raises(UnknownNameError, match="no probe called “r”"):
            recording_from_store(tx, "r", 0, FIRST_MS)


class StandIn(ProbePublisher):
    """Takes readings without a broker; everything is receipted at once, or nothing ever."""

    def __init__(self, receipts: bool) -> None:
        super().__init__(
            "", 0, readings_topic="", receipt_topic="", encode=lambda rows, oldest: b"", client_id="x"
        )
        self.receipts, self.got = receipts, list[Reading]()

    def send(self, rows: object) -> None:
        assert isinstance(rows, list)
        self.got += rows

    def wait_below(self, instants: int, timeout_s: float) -> bool:
        return self.receipts


@pytest.mark.parametrize(("speed", "slept_s"), [(0.0, 0.0), (60.0, 20.0), (1200.0, 1.0)])
def test_it_takes_as_long_as_its_speed_says(tmp_path: Path, speed: float, slept_s: float) -> None:
    now_s = [100.0]

    def sleep(seconds: float) -> None:
        now_s[0] += seconds

    publisher = StandIn(receipts=True)
    with publisher:
        result = play(recorded(tmp_path), publisher, "p", speed=speed, clock_s=lambda: now_s[0], sleep=sleep)
        assert len(publisher.got) == 5
    assert (result.instants, result.readings) == (4, 5)
    assert result.seconds == pytest.approx(slept_s)


def test_no_receipt_is_one_sentence_and_no_success(tmp_path: Path) -> None:
    with StandIn(receipts=False) as publisher, pytest.raises(BrokerError, match="is the host running"):
        play(
            recorded(tmp_path),
            publisher,
            "p",
            speed=0,
            clock_s=lambda: 0.0,
            sleep=lambda _: None,
            patience_s=1,
        )
