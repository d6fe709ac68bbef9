"""Calibrating by command: two points, and weighings of a pot that dries."""

import numpy as np
import pytest
import typer

from tests.cli.conftest import NOW_MS, CommandLine
from traywarden.cli import calibrate, context
from traywarden.domain.journal import Calibration
from traywarden.domain.moisture import m3_m3_from_volts
from traywarden.domain.readings import Reading
from traywarden.store import journal as journal_store
from traywarden.store import probes as probe_store
from traywarden.store import readings as reading_store

HOUR_MS, MINUTE_MS = 3_600_000, 60_000


def put(line: CommandLine, volts: list[float], end_ms: int = NOW_MS, step_ms: int = 5 * MINUTE_MS) -> None:
    """Readings of head b1/1, the newest of them at `end_ms`."""
    first_ms = end_ms - (len(volts) - 1) * step_ms
    rows = [
        Reading("b1", 1, -1, at, at, at, moisture_v=v)
        for at, v in ((first_ms + n * step_ms, v) for n, v in enumerate(volts))
    ]
    with line.store() as store, store.write() as tx:
        reading_store.insert(tx, rows)


@pytest.fixture
def reported(garden: CommandLine) -> CommandLine:
    """Head b1/1 has reported, two days ago."""
    put(garden, [1.9], NOW_MS - 48 * HOUR_MS)
    return garden


def calibrations(line: CommandLine) -> list[Calibration]:
    """Those of head b1/1, or of the mix in tray A1."""
    with line.store() as store, store.read() as tx:
        head = probe_store.head_labelled(tx, "b1/1")
        return journal_store.facts(tx).calibrations(head.head_id, 1)


def test_two_known_points_default_to_the_container_capacity_of_the_heads_mix(reported: CommandLine) -> None:
    reported.ok("mix", "change", "Seed mix", "--container-capacity", "0.6")
    reported.ok("probe", "place", "b1/1", "--tray", "A1", "--at", "3 days ago")
    words = reported.ok("calibrate", "two-point", "b1/1", "--dry-volts", "2.61", "--wet-volts", "1.34")
    assert "Head b1/1 reads 0.02 m³/m³ at 2.61 V and 0.6 m³/m³ at 1.34 V." in words
    (made,) = calibrations(reported)
    assert made.points == ((1.34, 0.6), (2.61, 0.02))


def test_a_mix_is_calibrated_for_every_head_in_it(reported: CommandLine) -> None:
    words = reported.ok(
        "calibrate", "two-point", "--mix", "seed mix", "--dry-volts", "2.6", "--wet-volts", "1.3", "--dry",
        "0.05",
    )  # fmt: skip
    assert "Heads in “Seed mix” read 0.05 m³/m³ at 2.6 V and 0.55 m³/m³ at 1.3 V." in words
    assert len(calibrations(reported)) == 1


def test_points_that_make_no_curve_are_refused(reported: CommandLine) -> None:
    volts = ("--dry-volts", "2.6", "--wet-volts")
    two_point = ("calibrate", "two-point", "b1/1", *volts)
    assert "too close" in reported.refused(*two_point, "2.6")
    assert "swap them" in reported.refused(*two_point, "1.3", "--dry", "0.6")
    assert "give -0.5 to 6" in reported.refused(*two_point, "1300")
    assert "Say what to calibrate" in reported.refused("calibrate", "two-point", *volts, "1.3")
    assert calibrations(reported) == []


def test_the_steps_wait_until_the_volts_that_arrive_stand_still(
    reported: CommandLine, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """What was read before a step began does not count for it, nor what still falls."""
    put(reported, [1.9, 1.9, 1.9, 1.9], NOW_MS - 1000)  # steady, but from before
    now = [NOW_MS]
    arriving = iter([*[[2.9, 2.7, 2.6], [2.6, 2.601, 2.599, 2.6]], *[[1.31, 1.30, 1.31]]])
    monkeypatch.setattr(context, "now_ms", lambda: now[0])
    monkeypatch.setattr(typer, "prompt", lambda *a, **k: "")

    def rest(seconds: float) -> None:
        batch = next(arriving)
        now[0] += 20 * MINUTE_MS
        put(reported, batch, now[0], 6 * MINUTE_MS)

    monkeypatch.setattr(calibrate, "rest", rest)
    answer = reported("calibrate", "two-point", "b1/1", "--minutes", "19")
    assert answer.code == 0, answer
    assert "still falling" in answer.err
    assert "2.600 V ± 0.001 V from 4 readings: steady" in answer.err
    (made,) = calibrations(reported)
    assert made.points == ((1.31, 0.55), (2.6, 0.02))


def test_the_volts_of_the_last_minutes_are_shown(reported: CommandLine) -> None:
    assert "has sent no volts" in reported.ok("calibrate", "volts", "b1/1")
    put(reported, [1.5, 1.501, 1.5, 1.502])
    words = reported.ok("calibrate", "volts", "b1/1")
    assert "Head b1/1: 1.500 V ± 0.001 V, 4 readings in 30 min. It stands still." in words
    shown = reported.json("calibrate", "volts", "b1/1", "--minutes", "2")
    assert (shown["steady"], shown["reason"]) == (False, "1 of at least 3 readings so far")


@pytest.fixture
def weighed(reported: CommandLine) -> CommandLine:
    """A pot of one litre, 262 g dry, weighed nine times as it dried; the fifth time with a hand on it."""
    for n, m3_m3 in enumerate(np.linspace(0.56, 0.04, 9)):
        when_ms = NOW_MS - (9 - n) * 4 * HOUR_MS
        put(reported, [round(2.6 - 2.2 * m3_m3, 4)] * 4, when_ms)
        grams = 262 + 1000 * m3_m3 + (180 if n == 4 else 0)
        reported.ok("calibrate", "weigh", "b1/1", "--grams", f"{grams:.0f}", "--at", f"{(9 - n) * 4} h ago")
    return reported


CURVE = ("calibrate", "curve", "b1/1", "--pot-litres", "1", "--dry-grams", "262")


def test_weighings_make_a_curve_and_a_slip_is_pointed_at(weighed: CommandLine) -> None:
    words = weighed.ok(*CURVE)
    assert "left out: does not fit the others" in words
    assert "Nothing is written yet" in words
    assert calibrations(weighed) == []
    shown = weighed.json(*CURVE)["curve"]
    assert [w["outlier"] for w in shown["weighings"]] == [n == 4 for n in range(9)]
    assert shown["weighings"][4]["residual_m3_m3"] == pytest.approx(0.18, abs=0.002)
    assert shown["rmse_m3_m3"] < 0.002
    assert f"traywarden journal undo {shown['weighings'][4]['entry']}" in words


def test_the_curve_is_written_and_later_weighings_are_not_in_it(weighed: CommandLine) -> None:
    words = weighed.ok(*CURVE, "--write")
    assert "Head b1/1 reads 0.040 m³/m³ at 2.512 V to 0.560 m³/m³ at 1.368 V, 8 points" in words
    assert "to take back: traywarden journal undo" in words
    (made,) = calibrations(weighed)
    assert float(m3_m3_from_volts(2.6 - 2.2 * 0.3, made)) == pytest.approx(0.3, abs=0.005)
    assert "head b1/1 calibrated: 2.512" in weighed.ok("journal", "list")


def test_redone_after_the_slip_was_taken_back_the_past_is_computed_anew(weighed: CommandLine) -> None:
    slip = weighed.json(*CURVE)["curve"]["weighings"][4]["entry"]
    weighed.ok("journal", "undo", str(slip))
    assert not any(w["outlier"] for w in weighed.json(*CURVE)["curve"]["weighings"])
    weighed.ok(*CURVE, "--write", "--mix", "Seed mix")
    (made,) = calibrations(weighed)
    assert len(made.points) == 8


def test_a_weighing_needs_steady_volts_or_given_ones(reported: CommandLine) -> None:
    put(reported, [1.5, 1.6, 1.7, 1.8])
    weigh = ("calibrate", "weigh", "b1/1", "--grams", "812")
    assert "still rising" in reported.refused(*weigh, code=9)
    assert "weighed 812 g at 1.7 V" in reported.ok(*weigh, "--volts", "1.7")
    assert "pot of head b1/1: weighed 812 g at 1.7 V" in reported.ok("journal", "list")
    assert "weighed 1 times" in reported.refused(*CURVE, code=9)


def test_a_dry_weight_above_a_weighing_is_refused(weighed: CommandLine) -> None:
    heavy = ("calibrate", "curve", "b1/1", "--pot-litres", "1", "--dry-grams", "400")
    assert "less than 400 g dry" in weighed.refused(*heavy)


def test_redone_a_calibration_takes_the_place_of_the_last_for_all_its_time(reported: CommandLine) -> None:
    points = ("calibrate", "two-point", "b1/1", "--dry-volts", "2.6", "--wet-volts")
    assert "to redo" in reported.refused(*points, "1.3", "--redo")
    reported.ok(*points, "1.3", "--at", "5 days ago")
    reported.ok(*points, "1.4", "--at", "2 days ago")
    reported.ok(*points, "1.5", "--redo")
    first, second = calibrations(reported)
    assert (first.points[0][0], second.points[0][0]) == (1.3, 1.5)
    assert second.from_ms < NOW_MS - 47 * HOUR_MS
