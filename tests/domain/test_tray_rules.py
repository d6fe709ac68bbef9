"""Verdicts of dry and cold: the levels, the hold band, and what makes a tray blind."""

import csv
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.shared_data import reference_file
from traywarden.domain.evidence import Evidence, HeadSample, Sown
from traywarden.domain.garden import Mix
from traywarden.domain.rules import ANSWERS, Answer, Spell
from traywarden.domain.tray_rules import cold_rule, cold_verdict, dry_rule, dry_verdict
from traywarden.domain.units import Display
from traywarden.store.crops import load_crops

MIX = Mix(1, "peat mix", {"peat": 1}, container_capacity_m3_m3=0.60, dry_line_m3_m3=0.25)
PEPPER = Sown("pepper", 0, floor_c=15.6, floor_source="a table")


def wet(*moistures: float | None) -> list[HeadSample]:
    return [
        HeadSample(f"a/{n}", m, True, "" if m is not None else "frozen") for n, m in enumerate(moistures, 1)
    ]


def warm(*temps: float | None) -> list[HeadSample]:
    return [
        HeadSample(f"a/{n}", soil_temp_c=t, soil_temp_trouble="" if t is not None else "not measured")
        for n, t in enumerate(temps, 1)
    ]


@pytest.mark.parametrize(
    ("moisture_m3_m3", "answer"),
    [
        (0.2499, Answer.YES),
        (0.25, Answer.HOLD),  # on the line is not below it
        (0.2799, Answer.HOLD),
        (0.28, Answer.NO),  # 0.25 + 0.05 × 0.60
        (0.60, Answer.NO),
    ],
)
def test_dry_opens_below_the_dry_line_and_closes_well_above_it(moisture_m3_m3: float, answer: Answer) -> None:
    assert dry_verdict(wet(moisture_m3_m3), MIX, close_above=0.05).answer is answer


def test_the_driest_head_speaks_for_the_tray() -> None:
    verdict = dry_verdict(wet(0.40, 0.20, 0.35), MIX, close_above=0.05)
    assert (verdict.answer, verdict.facts["head"]) == (Answer.YES, "a/2")


def test_one_blind_head_does_not_blind_the_tray_but_all_do() -> None:
    assert dry_verdict(wet(None, 0.20), MIX, close_above=0.05).answer is Answer.YES
    verdict = dry_verdict(wet(None, None), MIX, close_above=0.05)
    assert (verdict.answer, verdict.reason) == (Answer.BLIND, "no usable moisture: frozen")


def test_without_a_mix_or_a_head_nobody_can_tell() -> None:
    assert dry_verdict(wet(0.1), None, close_above=0.05).answer is Answer.BLIND
    assert dry_verdict([], MIX, close_above=0.05).answer is Answer.BLIND


def test_the_facts_say_how_much_to_pour_only_where_the_volume_is_known() -> None:
    """4 l of mix at 0.20 m³/m³ hold 0.8 l; at 0.60 they hold 2.4 l: 1.6 l are missing."""
    assert dry_verdict(wet(0.20), MIX, close_above=0.05, litres=4.0).facts["pour_litres"] == 1.6
    assert dry_verdict(wet(0.70), MIX, close_above=0.05, litres=4.0).facts["pour_litres"] == 0.0
    assert "pour_litres" not in dry_verdict(wet(0.20), MIX, close_above=0.05).facts


def test_the_facts_say_whether_the_moisture_is_calibrated() -> None:
    raw = [HeadSample("a/1", 0.20, moisture_calibrated=False)]
    assert dry_verdict(raw, MIX, close_above=0.05).facts["calibrated"] is False


@pytest.mark.parametrize(
    ("soil_temp_c", "answer"),
    [(15.59, Answer.YES), (15.6, Answer.HOLD), (16.59, Answer.HOLD), (16.6, Answer.NO)],
)
def test_cold_opens_below_the_floor_and_closes_a_degree_above(soil_temp_c: float, answer: Answer) -> None:
    assert cold_verdict(warm(soil_temp_c), PEPPER, close_above_c=1.0).answer is answer


def test_the_coldest_head_speaks_for_the_tray() -> None:
    assert cold_verdict(warm(20.0, 12.0, None), PEPPER, close_above_c=1.0).facts["head"] == "a/2"


def test_what_is_not_sown_or_is_up_is_not_too_cold_and_ends_at_once() -> None:
    up = Sown("pepper", 0, 15.6, emerged_ms=5)
    for sown in (None, up):
        verdict = cold_verdict(warm(2.0), sown, close_above_c=1.0)
        assert (verdict.answer, verdict.at_once) == (Answer.NO, True)


def test_without_a_published_floor_or_a_temperature_nobody_can_tell() -> None:
    assert cold_verdict(warm(2.0), Sown("x", 0, None), close_above_c=1.0).answer is Answer.BLIND
    assert cold_verdict(warm(None), PEPPER, close_above_c=1.0).answer is Answer.BLIND
    assert cold_verdict([], PEPPER, close_above_c=1.0).answer is Answer.BLIND


def test_reasons_speak_the_readers_unit() -> None:
    verdict = cold_verdict(warm(10.0), PEPPER, close_above_c=1.0, display=Display("F"))
    assert verdict.reason == "soil at 50.0 °F is below pepper's published minimum 60.1 °F"


@pytest.mark.data
def test_the_floor_is_the_minimum_that_was_published() -> None:
    """germination_temperatures.csv, preferred row (Harrington): just below its minimum it is too cold.

    Tolerance: the table holds °F; the crop table rounds °C to four digits.
    """
    with reference_file("germination_temperatures.csv").open(encoding="utf-8") as file:
        rows = [r for r in csv.DictReader(file) if r["preferred"] == "yes" and r["crop"].lower() == "tomato"]
    (row,) = rows
    minimum_c = (float(row["min_f"]) - 32) / 1.8
    crop = load_crops()["tomato"]
    sown = Sown(crop.name, 0, crop.floor_c, crop.floor_kind, crop.floor_source)
    assert cold_verdict(warm(minimum_c - 0.06), sown, close_above_c=1.0).answer is Answer.YES
    assert cold_verdict(warm(minimum_c + 0.06), sown, close_above_c=1.0).answer is Answer.HOLD


def test_the_rules_carry_their_levels_and_judge_the_evidence_they_are_given() -> None:
    evidence = Evidence(0, "A", tuple(wet(0.20)), MIX, 4.0, PEPPER)
    dry = dry_rule(open_delay_s=60, close_delay_s=0, close_above=0.05)
    assert (dry.name, dry.severity, dry.judge(evidence).answer) == ("dry", "urgent", Answer.YES)
    cold = cold_rule(open_delay_s=60, close_delay_s=0, close_above_c=1.0)
    assert (cold.name, cold.severity, cold.judge(evidence).answer) == ("cold", "warning", Answer.BLIND)


def test_a_tray_that_was_planted_out_wants_no_water_however_dry_it_is() -> None:
    rule = dry_rule(open_delay_s=0, close_delay_s=0, close_above=0.05)
    dry = Evidence(0, "A", (HeadSample("a/1", 0.05, True),), MIX)
    assert rule.judge(dry).answer is Answer.YES
    freed = rule.judge(replace(dry, planted_out=True))
    assert freed.answer is Answer.NO
    assert freed.at_once


values = st.one_of(st.none(), st.sampled_from([0.24, 0.25, 0.26, 0.28, 0.30, 0.4]))
temps = st.one_of(st.none(), st.sampled_from([15.0, 15.6, 16.0, 16.6, 17.0]))
mixes = st.sampled_from([None, MIX])
sowings = st.sampled_from([None, PEPPER, replace(PEPPER, floor_c=None), replace(PEPPER, emerged_ms=5)])


@st.composite
def spells(draw: st.DrawFn) -> tuple[list[Evidence], Spell]:
    """A tray at a few instants, told instant by instant and all at once."""
    heads, instants = draw(st.integers(0, 3)), draw(st.integers(1, 5))
    mix, sown, planted_out = draw(mixes), draw(sowings), draw(st.booleans())
    wet = [[draw(values) for _ in range(instants)] for _ in range(heads)]
    soil = [[draw(temps) for _ in range(instants)] for _ in range(heads)]
    evidence = [
        Evidence(
            n,
            "A",
            tuple(HeadSample(f"a/{h}", wet[h][n], True, "", soil[h][n], "") for h in range(heads)),
            mix,
            None,
            sown,
            planted_out,
        )
        for n in range(instants)
    ]
    wet_table, soil_table = (np.array(rows, float).reshape(heads, instants) for rows in (wet, soil))
    return evidence, Spell(wet_table, soil_table, mix, sown, planted_out)


@given(spells())
def test_the_answers_to_many_instants_at_once_are_those_to_each(made: tuple[list[Evidence], Spell]) -> None:
    evidence, spell = made
    for rule in (
        dry_rule(open_delay_s=0, close_delay_s=0, close_above=0.05),
        cold_rule(open_delay_s=0, close_delay_s=0, close_above_c=1.0),
    ):
        assert rule.answers is not None
        verdicts = [rule.judge(one) for one in evidence]
        told = [(verdict.answer, verdict.at_once) for verdict in verdicts]
        assert [ANSWERS[code] for code in rule.answers(spell).tolist()] == told
