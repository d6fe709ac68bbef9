"""Upkeep works in small steps, gives way, is not stopped by one strange head, and says where it stands."""

import threading
from collections.abc import Callable, Iterator, Sequence
from pathlib import Path

import pytest

from tests.services.little_garden import DAY_MS, NOW_MS, START_MS, STEP_MS, LittleGarden, little_garden
from tests.system.hosts import made_home
from traywarden.domain.journal import Kind
from traywarden.domain.packing import PackedDay, day_of
from traywarden.domain.readings import Reading
from traywarden.errors import StoreBusyError
from traywarden.services import upkeep
from traywarden.services.clock import SystemClock
from traywarden.services.head_days import HeadDays
from traywarden.services.host import Host
from traywarden.services.upkeep import Upkeep, days_waiting, pack_days
from traywarden.settings import Settings, load
from traywarden.store import journal, kept, packed, probes, readings
from traywarden.store.store import Store, Tx


class At(SystemClock):
    """A clock that stands still."""

    def now_ms(self) -> int:
        return NOW_MS


@pytest.fixture
def little(tmp_path: Path) -> Iterator[LittleGarden]:
    made = little_garden(tmp_path)
    yield made
    made.store.close()


@pytest.fixture
def chosen() -> Settings:
    return load(Path("/nowhere"), environ={})


def waiting(store: Store, chosen: Settings) -> int:
    with store.read() as tx:
        return days_waiting(tx, chosen, NOW_MS)


def results(store: Store) -> dict[int, dict[bytes, bytes]]:
    with store.read() as tx:
        return {head_id: kept.results(tx, head_id) for head_id in kept.heads(tx)}


def test_progress_is_told_of_what_was_to_pack(little: LittleGarden, chosen: Settings) -> None:
    told: list[tuple[int, int]] = []
    waited = waiting(little.store, chosen)
    made = pack_days(little.store, chosen, NOW_MS, lambda done, total: told.append((done, total)))
    assert made == waited == told[-1][0]
    assert len(told) > 1
    assert {total for _, total in told} == {waited}
    assert pack_days(little.store, chosen, NOW_MS) == 0


def test_a_look_packs_days_and_keeps_results_and_the_next_finds_nothing_to_do(
    little: LittleGarden, chosen: Settings
) -> None:
    keeper = Upkeep(little.store, chosen, At())
    keeper.look(threading.Event())
    with little.store.read() as tx:
        heads = len(probes.heads(tx))
        assert packed.count(tx) == heads * (day_of(NOW_MS) - day_of(START_MS))
    before = results(little.store)
    assert sum(map(len, before.values())) > 5
    keeper.look(threading.Event())
    assert results(little.store) == before


def test_a_journal_entry_has_the_results_of_its_tray_kept_again(
    little: LittleGarden, chosen: Settings
) -> None:
    """Volts of another calibration are other moistures, and what hangs on them is worked out anew."""
    keeper = Upkeep(little.store, chosen, At())
    keeper.look(threading.Event())
    before = results(little.store)
    with little.store.write() as tx:
        head = probes.head_labelled(tx, "bench/1")
        points = {"points": [[1.2, 0.6], [2.7, 0.0]]}
        journal.write(tx, Kind.CALIBRATED, NOW_MS, NOW_MS, head_id=head.head_id, data=points)
    keeper.look(threading.Event())
    after = results(little.store)
    changed = {head_id for head_id in after if after[head_id].keys() != before[head_id].keys()}
    assert changed == {head.head_id}
    # A whole look, as after a start, forgets what nobody finds any more.
    Upkeep(little.store, chosen, At()).look(threading.Event())
    left = results(little.store)[head.head_id]
    assert left.keys() == after[head.head_id].keys() - before[head.head_id].keys()


def test_late_readings_are_packed_and_their_results_kept(little: LittleGarden, chosen: Settings) -> None:
    keeper = Upkeep(little.store, chosen, At())
    keeper.look(threading.Event())
    before = results(little.store)
    late_ms = START_MS + 5 * DAY_MS + 3_000
    with little.store.write() as tx:
        readings.insert(tx, [Reading("bench", 1, 2, 1, late_ms, NOW_MS, soil_temp_c=12.0, moisture_v=1.6)])
        head = probes.head_labelled(tx, "bench/1")
    assert 0 < waiting(little.store, chosen) <= 3
    keeper.look(threading.Event())
    assert waiting(little.store, chosen) == 0
    after = results(little.store)
    assert after[head.head_id].keys() > before[head.head_id].keys()


def test_it_ends_within_a_step_when_told_to(little: LittleGarden, chosen: Settings) -> None:
    ending = threading.Event()
    ending.set()
    Upkeep(little.store, chosen, At()).look(ending)
    with little.store.read() as tx:
        assert 0 < packed.count(tx) <= upkeep.SLICE_DAYS
    assert results(little.store) == {}


def test_it_gives_way_while_something_more_urgent_goes_on(
    little: LittleGarden, chosen: Settings, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(upkeep, "_LONGEST_REST_S", 0.01)
    turns = iter([True, True, False])
    asked: list[bool] = []

    def busy() -> bool:
        asked.append(next(turns, False))
        return asked[-1]

    Upkeep(little.store, chosen, At(), busy=busy).look(threading.Event())
    assert asked[:3] == [True, True, False]
    assert waiting(little.store, chosen) == 0


def strange(head_id: int) -> Callable[[HeadDays, int, Sequence[int]], list[PackedDay]]:
    real = HeadDays.pack

    def pack(days: HeadDays, this: int, numbers: Sequence[int]) -> list[PackedDay]:
        if this == head_id and day_of(START_MS) + 3 in numbers:
            raise ValueError("never seen such readings")
        return real(days, this, numbers)

    return pack


def test_one_day_that_cannot_be_packed_stays_in_single_readings_and_keeps_no_other_waiting(
    little: LittleGarden,
    chosen: Settings,
    monkeypatch: pytest.MonkeyPatch,
    caplog: pytest.LogCaptureFixture,
) -> None:
    with little.store.read() as tx:
        head = probes.head_labelled(tx, "bench/1")
    monkeypatch.setattr(HeadDays, "pack", strange(head.head_id))
    keeper = Upkeep(little.store, chosen, At())
    for _ in range(2):
        keeper.look(threading.Event())
        with little.store.read() as tx:
            assert packed.waiting(tx, day_of(NOW_MS), 100) == [(head.head_id, day_of(START_MS) + 3)]
            found = HeadDays(tx, upkeep.earliest_ms(chosen)).columns(head.head_id, START_MS, NOW_MS)
        assert found.time_ms.size == (NOW_MS - START_MS) // STEP_MS
    assert results(little.store)
    # It looks every minute, and says it once.
    assert len([record for record in caplog.records if "cannot be packed" in record.message]) == 1


def test_much_to_pack_is_told_of_from_beginning_to_end(
    little: LittleGarden, chosen: Settings, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(upkeep, "MANY_DAYS", 20)
    monkeypatch.setattr(upkeep, "_TELL_S", 0.0)
    said: list[str] = []
    keeper = Upkeep(little.store, chosen, At(), say=said.append)
    keeper.look(threading.Event())
    total = said[0].partition(" ")[0]
    assert "are being packed" in said[0]
    assert said[1].startswith("Packed 32 of " + total)
    assert said[-1] == f"All {total} days are packed."
    said.clear()
    keeper.look(threading.Event())
    assert said == []


def test_a_running_host_packs_what_is_over(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(upkeep, "FIRST_LOOK_S", 0.0)
    settings = made_home(tmp_path, broker__port=0)
    done = threading.Event()
    real = Upkeep.look

    def look(keeper: Upkeep, ending: threading.Event) -> None:
        real(keeper, ending)
        done.set()

    monkeypatch.setattr(Upkeep, "look", look)
    with Store.open(settings.store_url) as store, store.write() as tx:
        rows = [Reading("p", 1, 1, n, START_MS + n * 3_600_000, NOW_MS, soil_temp_c=1.0) for n in range(60)]
        readings.insert(tx, rows)
    with Host(settings) as host:
        assert done.wait(30)
        host.check()
        with host.store.read() as tx:
            assert packed.count(tx) == 3
            assert days_waiting(tx, settings, NOW_MS) == 0


def test_trouble_with_the_store_is_waited_out(
    little: LittleGarden, chosen: Settings, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The store is locked by another program at the first look, and free again at the second."""
    monkeypatch.setattr(upkeep, "FIRST_LOOK_S", 0.0)
    monkeypatch.setattr(upkeep, "LOOK_S", 0.01)
    ending = threading.Event()
    tries: list[int] = []
    real = packed.keep_rules

    def keep_rules(tx: Tx, now: str) -> None:
        tries.append(len(tries))
        if len(tries) == 1:
            raise StoreBusyError("The store is locked.")
        real(tx, now)

    monkeypatch.setattr(packed, "keep_rules", keep_rules)
    keeper = Upkeep(little.store, chosen, At())
    thread = threading.Thread(target=keeper.run, args=(ending,))
    thread.start()
    until = 600
    while waiting(little.store, chosen) and until:
        until -= 1
        ending.wait(0.05)
    ending.set()
    thread.join(30)
    assert waiting(little.store, chosen) == 0
    assert len(tries) > 1
