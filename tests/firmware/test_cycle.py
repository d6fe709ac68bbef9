"""The wake cycle: what it measures arrives once, on time, dated right, and it sleeps whatever happens."""

import json
from collections.abc import Callable
from itertools import pairwise
from typing import Any

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from probe import clock as clocks
from probe import record
from probe.cycle import BLINKS
from probe.files import Slots
from probe.reading import URGENT_TRIES
from probe.spool import Spool
from probe.state import BY_HAND
from tests.firmware.fakes import Link, PowerCut, Probe, Sensor
from traywarden.wire import packs

HOUR_MS = 3_600_000


def fast() -> Probe:
    """A probe that sends every reading: for what takes many sends to see."""
    return Probe(send_s=600, flush_n=1)


def dry(probe: Probe, volts: float) -> None:
    probe.world.values[(1, "moisture_voltage")] = volts


def test_readings_every_ten_minutes_arrive_every_hour_in_one_pack() -> None:
    probe = Probe()
    probe.run(37)
    assert len(probe.world.readings) == 37
    assert probe.network.ups == 7
    assert probe.world.doubled == 0
    boot = min(boot for boot, _ in probe.world.readings)
    times = [probe.world.readings[(boot, sequence)] for sequence in range(1, 38)]
    steps = [(after - before) / 1000 for before, after in pairwise(times)]
    assert all(590 < step < 610 for step in steps)


def test_the_first_wake_after_power_up_sends_at_once() -> None:
    probe = Probe()
    probe.run(1)
    assert len(probe.world.readings) == 1
    assert probe.world.states[-1]["reset"] == "power was connected, or dipped"


def test_the_state_says_how_the_probe_is() -> None:
    probe = Probe(drift_ppm=20_000)
    probe.run(8)
    state = probe.world.states[-1]
    assert state["state"] == "asleep"
    assert (state["spool"], state["dropped"], state["damaged"], state["rssi"]) == (0, 0, 0, -61)
    assert state["sync_age_s"] <= 1
    assert abs(state["sync_ppm"] + 19_608) < 100
    assert abs(state["sync_corrected_ms"] - 0) < 200_000
    assert state["faults"] == []


SILENCES: list[tuple[str, Callable[[Probe], None]]] = [
    ("access point", lambda probe: setattr(probe.world, "network_up", False)),
    ("time server", lambda probe: setattr(probe.world, "ntp_up", False)),
    ("broker", lambda probe: setattr(probe.world, "broker_up", False)),
    ("receipts", lambda probe: setattr(probe.world, "receipts_up", False)),
    (
        "acknowledgements",
        lambda probe: setattr(
            probe.link, "on_publish", lambda kind: setattr(probe.world, "broker_up", False)
        ),
    ),
]


@pytest.mark.parametrize(("what", "break_it"), SILENCES, ids=[name for name, _ in SILENCES])
def test_a_silence_never_keeps_it_awake_past_its_budget(what: str, break_it: Callable[[Probe], None]) -> None:
    budget_ms = 8000
    probe = Probe(budget_s=budget_ms // 1000)
    probe.world.silent = True
    break_it(probe)
    probe.run(60)
    assert probe.longest_ms <= budget_ms
    assert what == "time server" or len(probe.world.readings) < 60
    # When it is over all arrives, dated right.
    probe.world.network_up = probe.world.ntp_up = probe.world.broker_up = probe.world.receipts_up = True
    probe.link.on_publish = lambda kind: None
    probe.run(80)
    (boot,) = {boot for boot, _ in probe.world.readings}
    assert [sequence for _, sequence in sorted(probe.world.readings)][:130] == list(range(1, 131))
    for (_, sequence), time_ms in probe.world.readings.items():
        assert boot
        assert abs(time_ms - probe.measured_ms(sequence)) < 1000
    assert probe.longest_ms <= budget_ms


def test_after_failed_sends_it_tries_less_often_but_goes_on_measuring() -> None:
    probe = Probe()
    probe.world.network_up = False
    probe.run(6 * 48)
    tries = probe.network.ups
    assert tries <= 12
    probe.world.network_up = True
    probe.run(80)
    assert len(probe.world.readings) >= 6 * 48
    before = probe.network.ups
    probe.run(36)
    assert probe.network.ups - before == 6


def test_an_absent_sensor_costs_its_value_only_and_is_reported_until_told() -> None:
    probe = Probe()
    probe.sensors[1].fails = OSError("no answer on the bus")
    probe.run(7)
    pack = packs.readings_from_pack(probe.world.packs[-1], "probe", probe.world.now_ms)
    assert {reading.soil_temp_c for reading in pack} == {None}
    assert {reading.moisture_v for reading in pack if reading.head == 1} == {1.75}
    assert json.loads(next(r.extra for r in pack if r.head == 0) or "") == {"faults[count]": 1.0}
    assert probe.world.states[-1]["faults"] == ["head 1 soil temperature: no answer on the bus"]
    probe.sensors[1].fails = None
    probe.run(12)
    assert probe.world.states[-1]["faults"] == []


def test_every_sensor_and_the_supply_may_fail_and_the_instant_is_still_told() -> None:
    probe = fast()
    for sensor in probe.sensors:
        sensor.fails = RuntimeError("broken")
    probe.run(3)
    assert len(probe.world.readings) == 3
    assert len(probe.world.states[-1]["faults"]) == 3


def test_a_value_the_host_would_refuse_is_left_out_so_that_the_pack_is_taken() -> None:
    probe = fast()
    dry(probe, 7.5)
    probe.world.values[(1, "soil_temperature")] = float("nan")
    probe.run(1)
    assert len(probe.world.readings) == 1
    assert "head 1 moisture: 1/moisture_voltage is 7.5" in probe.world.states[-1]["faults"]


@pytest.mark.parametrize("nonsense", [None, "12.5", b"", [1.0]])
def test_a_sensor_that_gives_no_number_costs_its_value_only(nonsense: Any) -> None:
    probe = fast()
    probe.world.values[(0, "battery")] = nonsense
    probe.run(1)
    (pack,) = probe.world.packs
    readings = packs.readings_from_pack(pack, "probe", probe.world.now_ms)
    assert [r.soil_temp_c for r in readings if r.head == 1] == [12.5]
    assert f"battery: 0/battery is {nonsense}" in probe.world.states[-1]["faults"]


class Cable(Link):
    """The host over USB: as the broker, but nothing needs to come up for it."""

    def __init__(self, probe: Probe) -> None:
        super().__init__(probe.world)
        self.host_there = True

    def connect(self, budget_ms: int) -> None:
        if not self.host_there:
            self.world.refuse(budget_ms, "no host answers")
        super().connect(budget_ms)


def test_without_wi_fi_readings_go_over_the_cable_and_are_kept_until_their_receipt() -> None:
    probe = Probe(receipts=False)
    probe.settings["wifi"]["ssid"] = ""
    probe.wired = Cable(probe)
    probe.wired.host_there = False
    probe.run(6)
    assert probe.blinks == [BLINKS["no network"]]
    probe.wired.host_there = True
    probe.world.receipts_up = False
    probe.run(6)
    assert probe.world.readings
    assert probe.world.states[-1]["spool"] == len(probe.world.readings)
    probe.world.receipts_up = True
    probe.run(30)
    assert probe.world.states[-1]["spool"] == 0
    assert probe.network.ups == 0


def test_where_wi_fi_does_not_come_up_the_cable_is_tried() -> None:
    probe = fast()
    probe.wired = Cable(probe)
    probe.world.network_up = False
    probe.run(3)
    assert len(probe.world.readings) == 3


def test_on_the_cable_every_reading_is_sent_as_it_is_made() -> None:
    probe = Probe()
    probe.settings["wifi"]["ssid"] = ""
    probe.wired = Cable(probe)
    probe.awake = True
    probe.run(4)
    assert len(probe.world.readings) == len(probe.world.packs) == 4
    assert probe.world.states[-1]["state"] == "awake"


def test_a_sensor_that_hangs_the_board_is_left_out_once_after_the_watchdog() -> None:
    probe = fast()

    class Hangs(Sensor):
        def read(self) -> dict[tuple[int, str], float]:
            raise PowerCut  # the watchdog bites: nothing of this wake goes on

    good = probe.sensors[1]
    probe.sensors[1] = Hangs(probe.world, "head 1 soil temperature", [(1, "soil_temperature")])
    with pytest.raises(PowerCut):
        probe.wake()
    probe.reset = "the watchdog found it stuck"
    probe.run(1)
    assert probe.world.states[-1]["faults"] == ["head 1 soil temperature: stopped the probe; left out once"]
    probe.sensors[1] = good
    probe.run(1)
    assert probe.world.states[-1]["faults"] == []


LIMITS = {"1": {"dry_v": 2.1, "hysteresis_v": 0.05}}


def test_a_crossed_limit_is_sent_at_once_and_only_once() -> None:
    probe = Probe(limits=LIMITS)
    probe.run(2)
    ups = probe.network.ups
    dry(probe, 2.2)
    probe.run(1)
    assert probe.network.ups == ups + 1
    assert probe.world.states[-1]["urgent"] == ["head 1 dry: 2.2, limit 2.1"]
    assert len(probe.world.readings) == 3
    for volts in (2.07, 2.2, 2.08):
        dry(probe, volts)
        probe.run(1)
    assert probe.network.ups == ups + 1


def test_a_value_that_dances_over_the_whole_hysteresis_wakes_the_radio_a_few_times_only() -> None:
    probe = Probe(limits=LIMITS, read_s=60, send_s=86_400)
    for _ in range(60):
        for volts in (2.2, 2.0):
            dry(probe, volts)
            probe.run(1)
    assert probe.network.ups <= 1 + 4 + 2


def test_an_urgent_send_that_fails_is_tried_again_a_few_times_only() -> None:
    probe = Probe(limits=LIMITS, send_s=86_400)
    probe.run(2)
    probe.world.network_up = False
    ups = probe.network.ups
    dry(probe, 2.2)
    probe.run(20)
    assert probe.network.ups == ups + URGENT_TRIES
    probe.world.network_up = True
    probe.run(140)
    assert probe.network.ups == ups + URGENT_TRIES + 1


def test_settings_from_the_host_are_taken_over_saved_and_told() -> None:
    probe = fast()
    probe.world.retained_settings = b'{"read_s":120,"send_s":240,"revision":7,"limits":{"1":{"dry_v":2}}}'
    probe.run(2)
    assert probe.world.states[-1]["settings_revision"] == 7
    assert (probe.settings["read_s"], probe.settings["send_s"]) == (120, 240)
    assert json.loads(probe.flash.files["settings.json"])["limits"] == {"1": {"dry_v": 2}}
    before_ms = probe.world.now_ms
    probe.run(10)
    assert probe.world.now_ms - before_ms < 1_300_000
    written = probe.flash.files["settings.json"]
    probe.run(4)
    assert probe.flash.files["settings.json"] is written, "the same settings are written only once"


def test_bad_settings_from_the_host_are_refused_in_words_and_the_old_ones_stay() -> None:
    probe = fast()
    probe.world.retained_settings = b'{"read_s":0,"wifi":{"ssid":"mine"}}'
    probe.run(2)
    assert "wifi cannot be changed over MQTT" in probe.world.states[-1]["settings_refused"]
    probe.world.retained_settings = b'{"read_s":0}'
    probe.run(1)
    assert "read_s is 0; it must lie between" in probe.world.states[-1]["settings_refused"]
    assert probe.settings["read_s"] == 600


@pytest.mark.parametrize("receipts", [True, False])
def test_a_reading_is_freed_only_when_it_is_known_to_be_safe(receipts: bool) -> None:
    probe = Probe(receipts=receipts)
    probe.world.receipts_up = False
    probe.run(20)
    waiting = probe.world.states[-1]["spool"]
    assert (waiting == 0) is not receipts
    assert (probe.world.doubled > 0) is receipts
    if receipts:
        assert waiting == max(sequence for _, sequence in probe.world.readings)
    probe.world.receipts_up = True
    probe.run(40)
    assert probe.world.states[-1]["spool"] == 0


def test_receipts_of_one_boot_free_nothing_of_another() -> None:
    probe = Probe()
    probe.world.network_up = False
    probe.run(12)
    probe.lose_power()
    probe.run(12)
    probe.world.network_up = True
    store = probe.link.store

    def only_the_newest_boot(payload: bytes) -> None:
        _, info = packs.read_pack(payload, "probe", probe.world.now_ms)
        store(payload)
        if info.boot == first:
            probe.link.inbox.clear()
            probe.link.inbox.append(("receipt", packs.write_receipt(packs.Receipt(first + 1, 10**6))))

    first = record.identity(next(iter(spooled(probe))))[0]
    probe.link.store = only_the_newest_boot  # type: ignore[method-assign]
    probe.run(12)
    assert {record.identity(data)[0] for data in spooled(probe)} >= {first}
    probe.link.store = store  # type: ignore[method-assign]
    probe.run(40)
    assert spooled(probe) == []


def spooled(probe: Probe) -> list[bytes]:
    return [data for _, data in Spool(probe.flash, "data/spool").peek(10_000)]  # type: ignore[arg-type]


@pytest.mark.parametrize(
    "payload", [b"", b"{", b"[]", b"3", b'{"boot":"1","sequence":2}', b'{"boot":1}', b"\xff"]
)
def test_a_receipt_that_cannot_be_read_frees_nothing(payload: bytes) -> None:
    probe = Probe()
    probe.world.receipts_up = False
    probe.link.on_publish = lambda kind: probe.link.inbox.append(("receipt", payload))
    probe.run(8)
    assert probe.world.states[-1]["spool"] == 7


def test_a_power_loss_begins_a_new_boot_and_loses_only_what_rtc_memory_held() -> None:
    probe = Probe()
    probe.run(1)
    probe.world.network_up = False
    probe.run(6 * 3 + 4)
    gathered = 4 + 1  # the hourly try after the third flush has taken one more to flash
    probe.lose_power()
    probe.world.network_up = True
    probe.run(10)
    boots = sorted({boot for boot, _ in probe.world.readings})
    assert boots == [boots[0], boots[0] + 1]
    old = [sequence for boot, sequence in probe.world.readings if boot == boots[0]]
    assert old == list(range(1, len(old) + 1))
    assert 23 - gathered - 1 <= len(old) <= 23
    assert probe.settings["flush_n"] >= 23 - len(old)


@pytest.mark.parametrize("reset", ["the watchdog found it stuck", "restarted by its own program"])
def test_any_other_reset_is_the_same_boot_and_loses_nothing(reset: str) -> None:
    probe = Probe()
    probe.run(4)
    probe.reset = reset
    probe.run(10)
    (boot,) = {boot for boot, _ in probe.world.readings}
    assert sorted(probe.world.readings) == [(boot, n) for n in range(1, len(probe.world.readings) + 1)]
    assert len(probe.world.readings) >= 11


def test_a_wiped_flash_does_not_count_boots_from_the_start_again() -> None:
    probe = Probe()
    probe.run(2)
    probe.flash.files.clear()
    probe.lose_power()
    probe.run(2)
    assert len({boot for boot, _ in probe.world.readings}) == 2


def test_a_board_whose_timer_stops_in_deep_sleep_goes_by_the_sleep_it_asked_for() -> None:
    probe = Probe(drift_ppm=0)
    for _ in range(40):
        sleep_ms = probe.wake()
        probe.world.now_ms += sleep_ms
        probe.power_on_ms = probe.world.now_ms  # the timer begins at 0 again
    (boot,) = {boot for boot, _ in probe.world.readings}
    assert boot
    for (_, sequence), time_ms in probe.world.readings.items():
        assert abs(time_ms - probe.measured_ms(sequence)) < 2000


def test_a_board_whose_clock_somebody_sets_dates_its_readings_all_the_same() -> None:
    probe = Probe(drift_ppm=20_000)
    probe.world.broker_up = False
    probe.run(10)
    probe.power_on_ms -= 25 * 365 * 24 * HOUR_MS
    probe.run(3)
    probe.power_on_ms += 20 * 365 * 24 * HOUR_MS
    probe.run(3)
    probe.world.broker_up = True
    probe.run(20)
    assert len(probe.world.readings) >= 30
    for key, time_ms in probe.world.readings.items():
        assert abs(time_ms - probe.true_ms[key]) < 30_000


def test_who_presses_the_reset_button_sees_it_send_at_once() -> None:
    probe = Probe()
    probe.run(3)
    packs_before = len(probe.world.packs)
    for reset in BY_HAND:
        probe.reset = reset
        probe.run(1)
        packs_before += 1
        assert len(probe.world.packs) == packs_before


def test_a_brown_out_that_rtc_memory_survives_counts_as_a_send_that_failed() -> None:
    probe = Probe()
    probe.run(2)
    probe.network.brown_out = True
    with pytest.raises(PowerCut):
        probe.run(10)
    ups = probe.network.ups
    probe.reset = "power was connected, or dipped"
    probe.run(5)
    assert probe.network.ups == ups
    probe.network.brown_out = False
    probe.run(10)
    assert len(probe.world.readings) >= 17
    assert len({boot for boot, _ in probe.world.readings}) == 1


def reset_after_flush(probe: Probe) -> None:
    """The board restarts when flash has the block and RTC memory has it still."""
    memory = probe.memory
    before = len(spooled(probe))

    def cut_short(data: bytes | None = None) -> bytes:
        if data is not None and len(spooled(probe)) > before:
            raise PowerCut
        return memory(data)

    probe.memory = cut_short  # type: ignore[method-assign]
    with pytest.raises(PowerCut):
        probe.run(20)
    probe.memory = memory  # type: ignore[method-assign]
    probe.reset = "the watchdog found it stuck"


def test_a_block_written_just_before_a_reset_is_not_written_twice() -> None:
    probe = Probe()
    probe.world.network_up = False
    probe.run(1)
    reset_after_flush(probe)
    probe.run(8)
    identities = [record.identity(data)[:2] for data in spooled(probe)]
    assert len(identities) == len(set(identities)) > 7


def run_until_drained(probe: Probe) -> None:
    while not probe.world.states or probe.world.states[-1]["spool"]:
        probe.run(1)


def test_instants_that_are_twice_on_flash_are_sent_as_one() -> None:
    probe = Probe()
    probe.world.network_up = False
    probe.run(7)
    spool = Spool(probe.flash, "data/spool")  # type: ignore[arg-type]
    spool.append([data for _, data in spool.peek(5)])
    probe.world.network_up = True
    run_until_drained(probe)
    assert probe.world.doubled == 1, "the newest was shown before the rest could be dated"


def test_readings_on_both_sides_of_a_damaged_one_are_freed_in_one_wake() -> None:
    probe = Probe()
    probe.world.network_up = False
    probe.run(30)
    spool = Spool(probe.flash, "data/spool")  # type: ignore[arg-type]
    entries = [data for _, data in spool.peek(100)]
    spool.free_through(100)
    spool.append(entries[:5] + entries[6:])
    probe.world.network_up = True
    run_until_drained(probe)
    assert not [key for key in probe.world.readings if key[1] == 6]


def test_what_flash_keeps_of_an_earlier_boot_s_syncs_dates_its_readings_for_sure() -> None:
    probe = Probe(drift_ppm=30_000)
    probe.run(8)
    probe.world.broker_up = False
    probe.run(20)
    probe.lose_power(HOUR_MS)
    probe.world.broker_up = True
    probe.run(8)
    assert len(probe.world.readings) >= 28
    assert probe.world.sure == set(probe.world.readings)
    for key, time_ms in probe.world.readings.items():
        assert abs(time_ms - probe.true_ms[key]) <= 30_000


def test_a_sync_that_flash_could_not_take_is_kept_in_rtc_memory() -> None:
    probe = Probe()
    probe.run(1)
    probe.world.broker_up = False
    probe.run(5)
    probe.flash.broken = True
    probe.run(2)
    probe.flash.broken = False
    probe.run(8)
    kept = clocks.unpack(Slots(probe.flash, "data/clock").read() or b"")  # type: ignore[arg-type]
    assert kept is not None
    assert len(kept.points) == 3


def test_a_cell_too_weak_for_the_radio_does_not_make_it_try_without_end() -> None:
    probe = Probe()
    probe.network.brown_out = True
    began_ms = probe.world.now_ms
    for _ in range(10):
        with pytest.raises(PowerCut):
            probe.run(5)
        probe.lose_power()
    assert probe.network.ups == 10
    assert probe.world.now_ms - began_ms >= 9 * 590_000
    probe.network.brown_out = False
    probe.lose_power()
    probe.run(3)
    assert len(probe.world.readings) >= 3


@pytest.mark.parametrize("drift_ppm", [-50_000, 0, 50_000])
def test_readings_before_the_first_sync_are_dated_when_the_drift_is_known(drift_ppm: int) -> None:
    probe = Probe(drift_ppm=drift_ppm)
    probe.world.network_up = False
    probe.run(30)
    probe.world.network_up = True
    probe.run(30)
    assert len(probe.world.readings) >= 45
    for (_, sequence), time_ms in probe.world.readings.items():
        assert abs(time_ms - probe.measured_ms(sequence)) <= 30_000
    assert probe.world.sure == set(probe.world.readings)


def test_without_a_time_server_the_host_tells_the_date() -> None:
    probe = Probe(drift_ppm=-40_000)
    probe.world.ntp_up = False
    probe.world.network_up = False
    probe.run(20)
    probe.world.network_up = True
    probe.run(40)
    assert len(probe.world.readings) >= 45
    assert probe.world.sure == set(probe.world.readings)
    for (_, sequence), time_ms in probe.world.readings.items():
        assert abs(time_ms - probe.measured_ms(sequence)) <= 30_000
    assert probe.world.states[-1]["sync_age_s"] <= 1


def test_an_answer_to_another_question_is_no_date() -> None:
    probe = fast()
    probe.world.ntp_up = probe.world.host_tells_time = False
    early = json.dumps({"asked": probe.dice, "time_ms": probe.world.now_ms - HOUR_MS})
    answers = [early, '{"asked":1}', '{"time_ms":5}', "[]", '{"asked":null,"time_ms":"x"}', "{"]

    def answered(kind: str) -> None:
        if answers:
            probe.link.inbox.append(("receipt", answers.pop().encode()))

    probe.link.on_publish = answered
    while answers:
        probe.run(1)
    assert probe.world.states[-1]["sync_age_s"] is None
    assert not probe.world.readings


def test_while_nobody_says_what_time_it_is_readings_wait_on_the_probe() -> None:
    """The host is down: whatever the broker took now would be dated by its late arrival."""
    probe = Probe()
    probe.world.ntp_up = probe.world.host_tells_time = False
    probe.run(20)
    assert probe.world.packs == []
    assert probe.blinks[0] == BLINKS["no receipt"]
    assert "the host did not say what time it is" in probe.world.states[-1]["faults"]
    probe.world.host_tells_time = True
    probe.run(40)
    assert len(probe.world.readings) >= 50
    for (_, sequence), time_ms in probe.world.readings.items():
        assert abs(time_ms - probe.measured_ms(sequence)) <= 30_000


def test_a_date_that_a_later_sync_can_make_sure_is_not_sent_before_while_the_host_is_away() -> None:
    """It heard the time once, then nobody answers: what the broker takes now would stay unsure for good."""
    probe = Probe(drift_ppm=50_000)
    probe.world.ntp_up = False
    probe.run(1)
    probe.world.host_tells_time = probe.world.receipts_up = False
    probe.run(30)
    assert len(probe.world.readings) == 1
    assert probe.network.ups <= 6, "it tries less and less often"
    probe.world.host_tells_time = probe.world.receipts_up = True
    probe.run(40)
    assert len(probe.world.readings) >= 60
    assert probe.world.sure == set(probe.world.readings)
    for (_, sequence), time_ms in probe.world.readings.items():
        assert abs(time_ms - probe.measured_ms(sequence)) <= 30_000


def test_where_receipts_are_off_it_is_held_for_a_few_sends_only() -> None:
    probe = Probe(receipts=False, drift_ppm=50_000)
    probe.run(1)
    probe.world.ntp_up = False
    probe.run(100)
    assert len(probe.world.readings) >= 90
    assert probe.world.sure != set(probe.world.readings)


def test_without_receipts_and_date_readings_go_out_as_how_long_ago_and_unsure() -> None:
    probe = Probe(receipts=False)
    probe.world.ntp_up = False
    probe.run(8)
    records = json.loads(probe.world.packs[-1])
    assert "bt" not in records[0]
    assert records[0]["t"] < -2900
    assert probe.world.sure == set()
    for (_, sequence), time_ms in probe.world.readings.items():
        assert abs(time_ms - probe.measured_ms(sequence)) < 1000


def test_on_a_cable_whose_other_end_tells_no_time_they_go_out_as_how_long_ago() -> None:
    """No broker lies between that could keep a pack for later; only what is old is unsure."""
    probe = Probe()
    probe.settings["wifi"]["ssid"] = ""
    probe.wired = Cable(probe)
    probe.world.host_tells_time = False
    probe.run(8)
    first = json.loads(probe.world.packs[1])[0]
    assert "bt" not in first
    assert first["t"] < -2900
    unsure = [any(one["n"] == "0/time_unsure" for one in json.loads(pack)) for pack in probe.world.packs]
    assert unsure == [False, True, False]
    for (_, sequence), time_ms in probe.world.readings.items():
        assert abs(time_ms - probe.measured_ms(sequence)) < 1000


def test_while_a_backlog_waits_for_a_second_sync_the_newest_reading_is_shown() -> None:
    probe = Probe(drift_ppm=50_000)
    probe.world.network_up = False
    probe.run(30)
    probe.world.network_up = True
    while not probe.world.readings:
        probe.run(1)
    ((boot, newest),) = probe.world.readings
    assert newest > 30
    assert probe.world.states[-1]["spool"] == newest, "shown, and kept all the same"
    assert not probe.link.inbox, "no receipt reaches over what is held back"
    run_until_drained(probe)
    assert sorted(probe.world.readings)[:newest] == [(boot, n) for n in range(1, newest + 1)]
    assert probe.world.sure == set(probe.world.readings)


def test_an_urgent_reading_is_sent_while_the_rest_waits_for_its_date() -> None:
    probe = Probe(limits=LIMITS, drift_ppm=50_000)
    probe.world.network_up = False
    probe.run(30)
    probe.world.network_up = True
    dry(probe, 2.2)
    probe.run(1)
    assert [sequence for _, sequence in probe.world.readings] == [31]
    assert probe.world.states[-1]["urgent"] == ["head 1 dry: 2.2, limit 2.1"]


@pytest.mark.parametrize("days", [1, 2])
@pytest.mark.parametrize("sync_out_ms", [-500, 500])
def test_syncs_that_are_half_a_second_out_date_days_before_them(days: int, sync_out_ms: int) -> None:
    """The rate that two of them tell is off by a second over their distance: so it must be wide enough."""
    probe = Probe(drift_ppm=-50_000)
    probe.world.network_up = False
    probe.run(144 * days)
    probe.world.network_up = True
    probe.world.ntp_out_ms = [sync_out_ms, -sync_out_ms]
    run_until_drained(probe)
    assert len(probe.world.readings) >= 144 * days
    assert probe.world.sure == set(probe.world.readings)
    for (_, sequence), time_ms in probe.world.readings.items():
        assert abs(time_ms - probe.measured_ms(sequence)) <= 30_000


def test_what_no_sync_can_date_to_half_a_minute_is_called_unsure_and_sent() -> None:
    probe = Probe(drift_ppm=-50_000)
    probe.world.network_up = False
    probe.run(144 * 5)
    probe.world.network_up = True
    run_until_drained(probe)
    sure = sorted(sequence for _, sequence in probe.world.sure)
    assert len(probe.world.readings) >= 144 * 5
    assert 144 * 5 - 380 < sure[0] < 144 * 5 - 340, "what is from the last two and a half days"
    assert sure == list(range(sure[0], len(probe.world.readings) + 1)), "the nearer, not the further"


def test_tls_finds_the_board_s_calendar_right_and_no_reading_s_date_moves() -> None:
    probe = Probe(drift_ppm=30_000)
    probe.settings["broker"]["tls"] = True
    probe.world.network_up = False
    probe.run(20)
    probe.world.network_up = True
    connect = probe.link.connect

    def looks_at_the_calendar(budget_ms: int) -> None:
        assert abs(probe.mark_ms() - probe.world.now_ms) < HOUR_MS
        connect(budget_ms)

    probe.link.connect = looks_at_the_calendar  # type: ignore[method-assign]
    probe.run(200)
    (boot,) = {boot for boot, _ in probe.world.readings}
    assert sorted(probe.world.readings)[:200] == [(boot, n) for n in range(1, 201)]
    assert probe.world.sure == set(probe.world.readings)
    for (_, sequence), time_ms in probe.world.readings.items():
        assert abs(time_ms - probe.measured_ms(sequence)) <= 30_000
    assert probe.longest_ms < 10_000


@pytest.mark.parametrize("cut_ms", [0, 5 * HOUR_MS])
def test_before_any_sync_tls_goes_by_the_latest_date_known_to_have_been(cut_ms: int) -> None:
    probe = Probe(set_up_s=1_760_000_000 - 86_400)
    probe.settings["broker"]["tls"] = True
    if cut_ms:
        probe.run(3)
        probe.lose_power(cut_ms)
    probe.world.ntp_up = False
    known_ms = probe.world.now_ms - cut_ms - 1_200_000 if cut_ms else 1_759_913_600_000
    probe.run(1)
    assert -1_000_000 < probe.calendar_ms - known_ms < 1_000_000
    assert len(probe.world.readings) == (2 if cut_ms else 1), "the host told the date afterwards"


def test_a_watchdog_s_reset_after_the_calendar_was_set_is_the_same_boot() -> None:
    probe = Probe()
    probe.settings["broker"]["tls"] = True
    probe.world.network_up = False
    probe.run(3)
    probe.world.network_up = True

    def hangs(budget_ms: int) -> None:
        raise PowerCut  # the watchdog bites

    connect, probe.link.connect = probe.link.connect, hangs  # type: ignore[method-assign]
    with pytest.raises(PowerCut):
        probe.run(10)
    assert probe.calendar_ms > 1_700_000_000_000
    probe.link.connect = connect  # type: ignore[method-assign]
    probe.reset = "the watchdog found it stuck"
    probe.run(20)
    (boot,) = {boot for boot, _ in probe.world.readings}
    assert len(probe.world.readings) >= 20
    for (_, sequence), time_ms in probe.world.readings.items():
        assert boot
        assert abs(time_ms - probe.measured_ms(sequence)) <= 30_000


def test_a_boot_that_never_knew_the_time_is_bridged_and_says_so() -> None:
    probe = Probe()
    probe.world.network_up = False
    probe.run(12)
    probe.lose_power()
    probe.world.network_up = True
    probe.run(2)
    old = [json.loads(pack) for pack in probe.world.packs if b"time_unsure" in pack]
    assert old
    measured = dict(probe.true_ms)
    for (boot, sequence), time_ms in probe.world.readings.items():
        assert abs(time_ms - measured[(boot, sequence)]) < probe.settings["flush_n"] * 610_000


def test_broken_flash_costs_no_reading_that_rtc_memory_can_hold() -> None:
    probe = Probe()
    probe.run(1)
    probe.flash.broken = True
    probe.run(13)
    (boot,) = {boot for boot, _ in probe.world.readings}
    assert sorted(probe.world.readings) == [(boot, n) for n in range(1, 14)]
    assert [fault for fault in probe.world.states[-1]["faults"] if "flash" in fault]
    probe = fast()
    probe.run(1)
    probe.flash.broken = True
    probe.run(1)
    assert len(probe.world.readings) == 2
    assert probe.blinks == [BLINKS["sent"], BLINKS["flash"]]


def test_blinks_are_shown_after_power_up_only_and_say_what_is_wrong() -> None:
    probe = fast()
    probe.run(10)
    assert probe.blinks == [BLINKS["sent"]] * 6
    for what, name in (
        ("network_up", "no network"),
        ("broker_up", "no broker"),
        ("receipts_up", "no receipt"),
    ):
        probe = fast()
        setattr(probe.world, what, False)
        probe.run(1)
        assert probe.blinks == [BLINKS[name]]


def test_a_backlog_of_a_week_drains_in_order_within_the_budget_of_each_wake() -> None:
    probe = Probe(budget_s=15)
    probe.world.network_up = False
    probe.run(144 * 7)
    probe.world.network_up = True
    probe.run(140)
    (boot,) = {boot for boot, _ in probe.world.readings}
    assert sorted(probe.world.readings)[:1008] == [(boot, n) for n in range(1, 1009)]
    assert probe.longest_ms <= 15_000
    assert probe.world.states[-1]["spool"] == 0


def test_what_a_full_spool_drops_is_counted_and_the_rest_arrives() -> None:
    probe = Probe(spool_bytes=16_384)
    probe.world.network_up = False
    probe.run(600)
    probe.world.network_up = True
    probe.run(60)
    dropped = probe.world.states[-1]["dropped"]
    sequences = sorted(sequence for _, sequence in probe.world.readings)
    assert dropped > 100
    assert sequences == list(range(dropped + 1, sequences[-1] + 1))


def test_everything_is_kept_when_power_goes_at_any_moment_of_a_wake() -> None:
    """Cut at every change of flash during a wake that flushes, syncs, sends and frees."""
    cut = 0
    while True:
        probe = Probe()
        probe.run(1)
        probe.world.network_up = False
        probe.run(14)
        probe.world.network_up = True
        probe.run(2)
        safe = {record.identity(data)[:2] for data in spooled(probe)} | set(probe.world.readings)
        probe.flash.cut_after = cut
        try:
            probe.run(12)
            break
        except PowerCut:
            pass
        probe.lose_power(1000)
        probe.run(14)
        assert safe <= set(probe.world.readings), cut
        assert len({boot for boot, _ in probe.world.readings}) == 2, cut
        cut += 3
    assert cut > 300


event = st.sampled_from(
    ["wake"] * 6 + ["cut", "power", "reset", "network", "broker", "receipts", "ntp", "silent", "hour"]
)


@settings(max_examples=60)
@example([("wake", 0)] * 5 + [("cut", 105)], -46_612)
@given(st.lists(st.tuples(event, st.integers(0, 400)), max_size=60), st.integers(-50_000, 50_000))
def test_whatever_happens_each_spooled_reading_arrives_once_dated_right(
    events: list[tuple[str, int]], drift_ppm: int
) -> None:
    probe = Probe(drift_ppm=drift_ppm, budget_s=25)
    probe.run(1)
    safe: set[tuple[int, int]] = set()

    def live(wakes: int) -> None:
        try:
            probe.run(wakes)
        except PowerCut:
            probe.lose_power(500)
        safe.update(record.identity(data)[:2] for data in spooled(probe))

    for what, number in events:
        world: Any = probe.world
        if what == "cut":
            probe.flash.cut_after = number
        elif what == "power":
            probe.lose_power(number * 10)
        elif what == "reset":
            probe.reset = "the watchdog found it stuck"
        elif what == "hour":
            live(number % 12)
        elif what == "wake":
            live(1)
        else:
            name = what if what == "silent" else f"{what}_up"
            setattr(world, name, not getattr(world, name))
    world = probe.world
    world.silent = False
    world.network_up = world.broker_up = world.receipts_up = world.ntp_up = True
    live(1)
    probe.flash.cut_after = None
    live(90)
    assert safe <= set(world.readings)
    assert world.states[-1]["dropped"] == 0
    assert probe.longest_ms <= 25_000
    for key, time_ms in world.readings.items():
        assert key in probe.true_ms, "a reading that was never measured"
        if key in world.sure:
            assert abs(time_ms - probe.true_ms[key]) <= 30_000
        else:  # its boot never heard the time, or too far away
            heard_ms = probe.heard_ms.get(key[0], [])
            true_ms = probe.true_ms[key]
            assert (
                not heard_ms or true_ms < heard_ms[0] - 48 * HOUR_MS or true_ms > heard_ms[-1] + 48 * HOUR_MS
            )
