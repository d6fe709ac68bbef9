"""Place against place: the frame's four degrees come out, real glasshouses too, and gaps are named."""

import re
from datetime import date
from pathlib import Path
from xml.etree import ElementTree

import msgspec
import numpy as np
import pandas as pd
import pytest

from tests.services.little_garden import FRAME_WARMER_C, NOW_MS, START_MS, LittleGarden
from tests.services.questions.conftest import grounded
from tests.shared_data import shared_file
from traywarden.domain.journal import Kind
from traywarden.domain.readings import BOOT_IMPORTED, Reading
from traywarden.domain.units import Display
from traywarden.errors import ShortOfDataError, UnknownNameError, UsageError
from traywarden.links.pictures import draw
from traywarden.services.questions.compare import CompareAsked, ask_compare
from traywarden.services.questions.picture import compare_picture
from traywarden.store import garden, journal, probes, readings
from traywarden.store.store import Store

FRAME_BENCH = CompareAsked("cold frame", "open bench")


def test_the_frame_is_four_degrees_warmer_in_air_and_soil_over_the_last_seven_days(
    little: LittleGarden,
) -> None:
    with grounded(little.store) as ground:
        air = ask_compare(ground, FRAME_BENCH)
        soil = ask_compare(ground, CompareAsked("Cold frame", "Open bench", measured="soil"))
    assert (air.measured, soil.measured) == ("air", "soil")
    assert air.comparison.days_counted == 7
    for answer in (air, soil):
        mean = answer.comparison.mean_difference_c
        assert mean.estimate == pytest.approx(FRAME_WARMER_C, abs=0.01)
    assert "4.0 °C warmer than Open bench on average in the air (95 % interval" in air.sentence


def test_the_sentence_speaks_the_growers_degrees(little: LittleGarden) -> None:
    with grounded(little.store, display__temperature="F") as ground:
        assert "7.2 °F warmer" in ask_compare(ground, FRAME_BENCH).sentence


def test_degree_days_gained_and_hours_below_the_limits_are_those_of_the_crop_asked_for(
    little: LittleGarden,
) -> None:
    """Above a base of 0 °C seven whole days gain seven times four degree-days. Air is below tomato's 10 °C
    on the bench half the time (mean 10 °C), in the frame while 14 − 5 cos < 10: acos(0.8)/π of it."""
    with grounded(little.store) as ground:
        answer = ask_compare(
            ground,
            CompareAsked(
                "Cold frame", "Open bench", date(2026, 3, 9), date(2026, 3, 15), "tomato", base_c=0.0
            ),
        )
    found = answer.comparison
    assert found.gained_c_days == pytest.approx(7 * FRAME_WARMER_C, abs=0.05)
    assert found.hours is not None
    assert found.hours.limits.low_c == 10.0
    assert found.hours.b_below_h == pytest.approx(7 * 12, abs=1)
    assert found.hours.a_below_h == pytest.approx(7 * 24 * np.arccos(0.8) / np.pi, abs=1)
    assert "Tomato" in str(answer.crop)
    assert "minimum" in answer.limits_source


def test_without_a_crop_the_one_sown_in_most_trays_is_taken_and_said(little: LittleGarden) -> None:
    with grounded(little.store) as ground:
        answer = ask_compare(ground, FRAME_BENCH)
    assert answer.crop == "Lettuce"  # one tray each: the first by name
    assert answer.crop_why == "sown in 1 tray, as many as any other"


def test_places_without_common_readings_say_what_there_is(little: LittleGarden) -> None:
    with grounded(little.store) as ground:
        with pytest.raises(ShortOfDataError, match="“Shade” has none at all"):
            ask_compare(ground, CompareAsked("Cold frame", "Shade"))
        asked = CompareAsked("Cold frame", "Open bench", date(2026, 1, 1), date(2026, 1, 31))
        with pytest.raises(ShortOfDataError, match="air from 2026-03-02 to 2026-03-16"):
            ask_compare(ground, asked)


def test_unknown_and_equal_places_are_refused_with_a_hint(little: LittleGarden) -> None:
    with grounded(little.store) as ground:
        with pytest.raises(UnknownNameError, match="did you mean “Cold frame”"):
            ask_compare(ground, CompareAsked("cold frme", "open bench"))
        with pytest.raises(UsageError, match="with itself"):
            ask_compare(ground, CompareAsked("open bench", "Open Bench"))
        with pytest.raises(UsageError, match="“air” or “soil”"):
            ask_compare(ground, CompareAsked("cold frame", "open bench", measured="water"))


def test_before_the_first_reading_one_sentence_says_how_to_begin(empty: LittleGarden) -> None:
    with grounded(empty.store) as ground, pytest.raises(ShortOfDataError, match="There are no readings yet"):
        ask_compare(ground, FRAME_BENCH)


def test_the_answer_is_json_able(little: LittleGarden) -> None:
    with grounded(little.store) as ground:
        built = msgspec.to_builtins(ask_compare(ground, FRAME_BENCH))
    assert built["comparison"]["days"][0]["day"] == "2026-03-09"


@pytest.mark.parametrize(("unit", "warmest"), [("C", "18"), ("F", "60")])
def test_the_picture_carries_both_names_and_the_growers_degrees(
    little: LittleGarden, tmp_path: Path, unit: str, warmest: str
) -> None:
    """Rendered by vl-convert, which brings Vega, fonts and all: no network is asked."""
    path = tmp_path / "compare.svg"
    with grounded(little.store, display__temperature=unit) as ground:
        draw(compare_picture(ask_compare(ground, FRAME_BENCH), ground.display), path)
    drawn = ElementTree.parse(path)
    words = {"".join(e.itertext()) for e in drawn.iter("{http://www.w3.org/2000/svg}text")}
    assert {"Cold frame against Open bench", "Cold frame", "Open bench", "9 Mar", warmest} <= words
    assert any(f"(°{unit})" in word for word in words)


def test_the_picture_shows_one_bar_per_place_and_whole_day(little: LittleGarden) -> None:
    with grounded(little.store) as ground:
        spec = compare_picture(ask_compare(ground, FRAME_BENCH), Display())
    ranges = spec["datasets"]["ranges"]
    assert len(ranges) == 2 * 7  # today is not over
    assert {row["place"]: (row["low"], row["high"]) for row in ranges} == {
        "Cold frame": pytest.approx((9.0, 19.0), abs=0.05),
        "Open bench": pytest.approx((5.0, 15.0), abs=0.05),
    }


def test_a_blank_day_has_neither_bar_nor_point_and_no_difference_in_the_answer(little: LittleGarden) -> None:
    with grounded(little.store) as ground:
        answer = ask_compare(ground, FRAME_BENCH)
    today = answer.comparison.days[-1]
    assert today.reason
    assert today.mean_difference_c is None
    drawn = {row["day"] for row in compare_picture(answer, Display())["datasets"]["differences"]}
    assert len(drawn) == 7
    assert "16 Mar" not in drawn


def test_the_two_colours_differ_for_colour_blind_readers() -> None:
    """Machado, Oliveira & Fernandes 2009 (IEEE TVCG 15:1291), severity 1.0 matrices; in CIELAB a distance
    over 20 is told apart at a glance."""
    spec = compare_picture_colours()
    matrices = {
        "protanopia": "0.152286 1.052583 -0.204868 0.114503 0.786281 0.099216 -0.003882 -0.048116 1.051998",
        "deuteranopia": "0.367322 0.860646 -0.227968 0.280085 0.672501 0.047413 -0.01182 0.04294 0.968881",
        "tritanopia": "1.255528 -0.076749 -0.178779 -0.078411 0.930809 0.147602 0.004733 0.691367 0.3039",
    }
    for name, matrix in matrices.items():
        one, two = (
            _lab(np.clip(np.array(matrix.split(), float).reshape(3, 3) @ _linear(colour), 0, 1))
            for colour in spec
        )
        assert np.linalg.norm(one - two) > 20, name


def compare_picture_colours() -> list[str]:
    text = (Path(__file__).parents[3] / "host/traywarden/dashboards/charts/compare.vl.json").read_text(
        "utf-8"
    )
    found = re.search(r'"range": \["(#\w{6})", "(#\w{6})"\]', text)
    assert found
    return [found[1], found[2]]


def _linear(colour: str) -> np.ndarray:
    srgb = np.array([int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)])
    return np.where(srgb <= 0.04045, srgb / 12.92, ((srgb + 0.055) / 1.055) ** 2.4)


def _lab(linear: np.ndarray) -> np.ndarray:
    to_xyz = np.array([[0.4124, 0.3576, 0.1805], [0.2126, 0.7152, 0.0722], [0.0193, 0.1192, 0.9505]])
    x, y, z = np.cbrt(to_xyz @ linear / [0.9505, 1.0, 1.089])
    return np.array([116 * y - 16, 500 * (x - y), 200 * (y - z)])


@pytest.mark.parametrize(
    ("name", "sentence"), [("week.pdf", ".svg or .png"), ("no/such/folder/week.svg", "another folder")]
)
def test_a_picture_that_cannot_be_written_says_why(tmp_path: Path, name: str, sentence: str) -> None:
    with pytest.raises(UsageError, match=re.escape(sentence)):
        draw({"mark": "bar", "data": {"values": []}}, tmp_path / name)


@pytest.mark.data
def test_the_glasshouse_is_ten_point_seven_degrees_warmer_than_outside(tmp_path: Path) -> None:
    """The record's README states a mean of +10.7 °C over the common span; 0.1 is asked for."""
    with Store.open(f"sqlite:///{tmp_path / 'glass.sqlite3'}") as store:
        with store.write() as tx:
            garden.set_garden(tx, "Bleiswijk", "Europe/Amsterdam", 52.0, 4.5, now_ms=START_MS)
            for name, kind, file, column in (
                ("inside", "greenhouse", "glasshouse_inside_2022.csv", "Tair"),
                ("outside", "open bench", "glasshouse_outside_2022.csv", "Tout"),
            ):
                place = garden.add_place(tx, name, kind)
                head_ids = probes.ensure_heads(tx, [(name, 0)], START_MS)
                journal.write(tx, Kind.HEAD_PLACED, 0, 0, head_id=head_ids[name, 0], place_id=place.place_id)
                table = pd.read_csv(shared_file(file))
                stamps = pd.to_datetime(table["Date"], format="%m/%d/%Y %H:%M").to_numpy("datetime64[ms]")
                temps = pd.to_numeric(table[column], errors="coerce")
                rows = [
                    Reading(name, 0, BOOT_IMPORTED, at, at, NOW_MS, air_temp_c=float(temp))
                    for at, temp in zip(stamps.astype(np.int64).tolist(), temps.tolist(), strict=True)
                    if not np.isnan(temp)
                ]
                readings.insert(tx, rows)
        with grounded(store) as ground:
            answer = ask_compare(
                ground, CompareAsked("inside", "outside", date(2022, 1, 1), date(2022, 12, 31))
            )
    mean = answer.comparison.mean_difference_c
    assert mean.estimate == pytest.approx(10.7, abs=0.1)
    assert mean.low is not None
    assert mean.high is not None
    assert mean.low < 10.7 < mean.high
