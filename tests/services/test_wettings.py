"""A watering is the same watering to the notice, to `today`, to `waterings` and to `dry-down`."""

from collections.abc import Callable, Iterator
from pathlib import Path

import numpy as np
import pytest

from tests.services.questions.conftest import grounded
from traywarden.domain.journal import Kind
from traywarden.domain.notice_words import Watered
from traywarden.domain.readings import Reading
from traywarden.domain.series import FloatArray
from traywarden.services.knowledge import Knowledge
from traywarden.services.questions.dry_down import ask_dry_down
from traywarden.services.questions.today import ask_today
from traywarden.services.questions.waterings import TrayWaterings, ask_waterings
from traywarden.store import garden, journal, probes, readings
from traywarden.store.crops import load_crops
from traywarden.store.store import Store

YEAR = 2020
HOUR_MS = 3_600_000
DAY_MS = 24 * HOUR_MS
STEP_MS = 600_000
START_MS = 1_772_323_200_000  # 2026-03-01T00:00Z
DAYS = 10
NOW_MS = START_MS + DAYS * DAY_MS
CAPACITY, DRY_LINE, TAU_DAYS, RESIDUAL = 0.55, 0.15, 4.0, 0.10
DRY_V, WET_V = 2.6, 1.3  # at 0 and at 0.55 m³/m³ by the first calibration

Profile = Callable[[FloatArray], FloatArray]


def drying(since_d: FloatArray) -> FloatArray:
    """Exponential from container capacity, as printed in the model of a dry-down."""
    return np.asarray(RESIDUAL + (CAPACITY - RESIDUAL) * np.exp(-since_d / TAU_DAYS))


class OneTray:
    """One tray with one head that sends volts; `days` run from the first reading."""

    def __init__(self, store: Store) -> None:
        self.store = store
        with store.write() as tx:
            garden.set_garden(tx, "One tray", "UTC", now_ms=START_MS)
            self.place_id = garden.add_place(tx, "Bench", "open bench").place_id
            self.other_id = garden.add_place(tx, "Frame", "cold frame").place_id
            self.mix_id = garden.add_mix(tx, "Peat", {"peat": 1}, CAPACITY, DRY_LINE).mix_id
            self.second_mix_id = garden.add_mix(tx, "Bark", {"bark": 1}, CAPACITY, DRY_LINE).mix_id
            self.tray_id = garden.add_tray(tx, "A", 40, 2.0).tray_id
            self.head_id = probes.ensure_heads(tx, [("probe", 1)], START_MS)["probe", 1]
        self.write(Kind.HEAD_PLACED, START_MS, head_id=self.head_id)
        self.write(Kind.FILLED, START_MS, mix_id=self.mix_id)
        self.write(Kind.MOVED, START_MS, place_id=self.place_id)
        self.calibrate(0.0, WET_V)

    def write(self, kind: Kind, at_ms: int, tray_id: int | None = -1, **more: object) -> int:
        with self.store.write() as tx:
            own = self.tray_id if tray_id == -1 else tray_id
            return journal.write(tx, kind, at_ms, at_ms, tray_id=own, **more).entry_id  # type: ignore[arg-type]

    def calibrate(self, day: float, wet_v: float) -> int:
        points = {"points": [[DRY_V, 0.0], [wet_v, CAPACITY]]}
        at_ms = START_MS + round(day * DAY_MS)
        return self.write(Kind.CALIBRATED, at_ms, None, head_id=self.head_id, data=points)

    def measure(self, moisture: Profile, soil_c: Profile | None = None) -> None:
        """Readings of ten days whose volts follow from the moisture by the first calibration."""
        time_ms = np.arange(START_MS, NOW_MS + 1, STEP_MS)
        days = (time_ms - START_MS) / DAY_MS
        volts = DRY_V + moisture(days) * (WET_V - DRY_V) / CAPACITY
        soil = np.full(days.size, 15.0) if soil_c is None else soil_c(days)
        rows = [
            Reading("probe", 1, 1, n, at, at, soil_temp_c=c, moisture_v=v)
            for n, (at, c, v) in enumerate(zip(time_ms.tolist(), soil.tolist(), volts.tolist(), strict=True))
        ]
        with self.store.write() as tx:
            readings.insert(tx, rows)

    def told_by_the_watch(self) -> Watered | None:
        with self.store.read() as tx:
            known = Knowledge(tx, load_crops())
            return known.watered(tx, self.tray_id, NOW_MS, earliest_year=YEAR, by_sensor=True)

    def asked(self) -> TrayWaterings:
        with grounded(self.store, NOW_MS) as ground:
            return ask_waterings(ground, "A", 30).trays[0]

    def hours_of_the_last_watering(self) -> list[float | None]:
        """Hours after the first reading, as the watch, `waterings` and `today` have it."""
        told, asked = self.told_by_the_watch(), self.asked().last
        with grounded(self.store, NOW_MS) as ground:
            today = ask_today(ground).trays[0].last_watered
        return [
            None if at_ms is None else round((at_ms - START_MS) / HOUR_MS, 2)
            for at_ms in (
                told.at_ms if told else None,
                asked.at.timestamp() * 1000 if asked else None,
                today.timestamp() * 1000 if today else None,
            )
        ]


@pytest.fixture
def tray(tmp_path: Path) -> Iterator[OneTray]:
    with Store.open(f"sqlite:///{tmp_path / 'one.sqlite3'}") as store:
        yield OneTray(store)


def watered_on(day: float) -> Profile:
    return lambda days: np.where(days < day, drying(days), drying(days - day))


def test_a_thaw_is_a_watering_to_nobody(tray: OneTray) -> None:
    """Ice takes water out of the sensor's sight before the mix reads 0 °C; thawed, it reads as before."""

    def moisture(days: FloatArray) -> FloatArray:
        return np.where((days > 5.4) & (days < 6.0), 0.22, 0.38 - 0.002 * days)

    def soil(days: FloatArray) -> FloatArray:
        return np.where((days > 5.5) & (days < 6.0), -1.5, np.where((days > 5.4) & (days < 6.0), 0.8, 6.0))

    tray.measure(moisture, soil)
    assert tray.hours_of_the_last_watering() == [None, None, None]


def test_everybody_dates_the_last_watering_alike(tray: OneTray) -> None:
    tray.measure(watered_on(6.0))
    expected = round(6.0 * 24 - STEP_MS / HOUR_MS, 2)  # the last reading before the rise
    assert tray.hours_of_the_last_watering() == [expected, expected, expected]
    assert tray.told_by_the_watch() == Watered(START_MS + 6 * DAY_MS - STEP_MS, "seen by its sensor")


def test_a_watering_seen_and_written_down_later_is_one_watering(tray: OneTray) -> None:
    tray.measure(watered_on(6.0))
    tray.write(Kind.WATERED, START_MS + 6 * DAY_MS + HOUR_MS, data={"how": "above"})
    expected = round(6.0 * 24 - STEP_MS / HOUR_MS, 2)
    assert tray.hours_of_the_last_watering() == [expected, expected, expected]
    told = tray.told_by_the_watch()
    assert told is not None
    assert told.known_from == "by the journal, and seen by its sensor"


def test_a_watering_written_down_for_a_place_counts_for_the_trays_that_stood_there(tray: OneTray) -> None:
    tray.measure(drying)
    tray.write(Kind.WATERED, START_MS + 7 * DAY_MS, None, place_id=tray.place_id)
    tray.write(Kind.WATERED, START_MS + 8 * DAY_MS, None, place_id=tray.other_id)  # not where it stands
    assert tray.hours_of_the_last_watering() == [7 * 24.0] * 3


def test_a_watering_three_weeks_ago_is_known_to_all(tray: OneTray) -> None:
    tray.measure(watered_on(1.0))
    later_ms = NOW_MS + 12 * DAY_MS
    with grounded(tray.store, later_ms) as ground:
        today, asked = ask_today(ground).trays[0], ask_waterings(ground, "A").trays[0]
    with tray.store.read() as tx:
        told = Knowledge(tx, load_crops()).watered(
            tx, tray.tray_id, later_ms, earliest_year=YEAR, by_sensor=True
        )
    assert told is not None
    assert asked.last is not None
    assert today.last_watered == asked.last.at
    assert asked.last.at.timestamp() * 1000 == told.at_ms


def test_a_new_calibration_is_no_watering_and_ends_the_dry_down(tray: OneTray) -> None:
    """Calibrated anew on day 5: from then on the same volts mean 1.4 times the water."""
    tray.measure(drying)
    tray.calibrate(5.0, DRY_V + (WET_V - DRY_V) / 1.4)
    assert tray.asked().events == ()
    with grounded(tray.store, NOW_MS) as ground:
        stretches = ask_dry_down(ground).stretches
    assert [round(s.days) for s in stretches] == [5, 5]
    assert [s.ended_by for s in stretches] == ["new mix or calibration", "end of readings"]
    # Either half is the exponential put in, the later one times 1.4: the time constant is the same.
    assert [s.tau_days for s in stretches] == pytest.approx([TAU_DAYS, TAU_DAYS], rel=0.02)


def test_a_refill_with_another_mix_is_no_watering_and_ends_the_dry_down(tray: OneTray) -> None:
    tray.measure(lambda days: np.where(days < 5, drying(days), drying(days - 5)))
    tray.write(Kind.FILLED, START_MS + 5 * DAY_MS, mix_id=tray.second_mix_id)
    assert tray.asked().events == ()
    with grounded(tray.store, NOW_MS) as ground:
        stretches = {s.mix: s for s in ask_dry_down(ground).stretches}
    assert stretches["Peat"].ended_by == "new mix or calibration"
    assert stretches["Peat"].tau_days == pytest.approx(TAU_DAYS, rel=0.02)
    assert stretches["Bark"].ended_by == "end of readings"
    assert stretches["Bark"].tau_days == pytest.approx(TAU_DAYS, rel=0.02)


def test_a_refill_taken_back_is_a_watering_again(tray: OneTray) -> None:
    tray.measure(watered_on(5.0))
    entry = tray.write(Kind.FILLED, START_MS + 5 * DAY_MS, mix_id=tray.second_mix_id)
    assert tray.asked().events == ()
    tray.write(Kind.UNDONE, START_MS + 5 * DAY_MS, None, replaces=entry)
    assert len(tray.asked().events) == 1


def test_a_head_that_was_elsewhere_meanwhile_saw_no_watering_here(tray: OneTray) -> None:
    """Back from six hours in a wetter tray it was pushed in deeper, where it is wetter."""
    tray.measure(lambda days: np.where(days < 5, drying(days), drying(days) + 0.08))
    with tray.store.write() as tx:
        other = garden.add_tray(tx, "B").tray_id
    tray.write(Kind.HEAD_PLACED, START_MS + 5 * DAY_MS, other, head_id=tray.head_id)
    tray.write(Kind.HEAD_PLACED, START_MS + 5 * DAY_MS + 6 * HOUR_MS, head_id=tray.head_id)
    assert tray.asked().events == ()


def test_when_it_will_be_dry_is_told_from_the_present_dry_down_alone(tray: OneTray) -> None:
    """Dry in half a day, t = τ·ln((θ0 − θw)/(θ* − θw)); the refill before it does not matter. Within 15 %: it
    dries by the clock alone, and towards a residual no one told."""
    dry_after_d = TAU_DAYS * np.log((CAPACITY - RESIDUAL) / (DRY_LINE - RESIDUAL))
    filled_d = DAYS + 0.5 - dry_after_d
    tray.measure(lambda days: np.where(days < filled_d, 0.30, drying(np.maximum(days - filled_d, 0.0))))
    tray.write(Kind.FILLED, START_MS + round(filled_d * DAY_MS), mix_id=tray.second_mix_id)
    with grounded(tray.store, NOW_MS) as ground:
        [soon] = ask_today(ground).soon
    assert soon.in_s == pytest.approx(0.5 * 86_400, rel=0.15)
