"""Verdicts of the rules about warm seed, water, places, probes and the host, at published numbers."""

import csv
from dataclasses import replace
from datetime import UTC, datetime

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.shared_data import reference_file
from traywarden.domain.ahead_rules import TwoEnds, drying_verdict, late_verdict, tilted_verdict
from traywarden.domain.evidence import Evidence, HeadSample, Sown, stage_of
from traywarden.domain.garden import Mix
from traywarden.domain.hardiness import Hardiness, hardiness
from traywarden.domain.host_rules import broker_verdict, disk_verdict, parked_verdict, slow_verdict
from traywarden.domain.lateness import Cause
from traywarden.domain.lateness import Verdict as CauseVerdict
from traywarden.domain.levels import Levels, Of
from traywarden.domain.lows_highs import Expected
from traywarden.domain.place_rules import (
    Threatened,
    chance_below,
    frost_verdict,
    rain_verdict,
    shut_verdict,
    vent_verdict,
)
from traywarden.domain.probe_rules import HeadFault, battery_verdict, faults_verdict, quiet_verdict
from traywarden.domain.rules import ANSWERS, Answer, Spell, Verdict, what_to_do
from traywarden.domain.seed_rules import damp_rule, hot_rule, hot_verdict, waterlogged_rule
from traywarden.domain.stage import DAY_MS, EMERGING_D, Stage, stage_at
from traywarden.domain.visits import next_visit_ms, usual_visits
from traywarden.store.crops import load_crops

MIX = Mix(1, "peat mix", {"peat": 1}, container_capacity_m3_m3=0.60, dry_line_m3_m3=0.25)
LETTUCE = Sown(
    "Lettuce",
    0,
    1.7,
    key="lettuce",
    ceiling_c=25.0,
    ceiling_kind="limit for falling asleep",
    falls_asleep=True,
)
LOW = Expected(2.0, 0.0, 5.0, 0.8, True, 20, None, None, None, "")
HOUR_MS = 3_600_000


def warm(*temps: float | None) -> list[HeadSample]:
    return [HeadSample(f"a/{n}", soil_temp_c=t) for n, t in enumerate(temps, 1)]


@pytest.mark.parametrize(
    ("soil_temp_c", "answer"),
    [(25.01, Answer.YES), (25.0, Answer.HOLD), (24.01, Answer.HOLD), (24.0, Answer.NO)],
)
def test_lettuce_is_too_warm_above_25_degrees_and_is_sown_again_in_the_evening(
    soil_temp_c: float, answer: Answer
) -> None:
    """University of Florida IFAS: above 25 °C lettuce, celery and pansy can be sent to sleep."""
    verdict = hot_verdict(warm(20.0, soil_temp_c), LETTUCE, close_below_c=1.0)
    assert verdict.answer is answer
    if answer is Answer.YES:
        assert "shade" in str(verdict.facts["do"])
        assert "evening" in str(verdict.facts["do"])


@pytest.mark.data
def test_the_ceiling_of_other_seed_is_its_published_maximum() -> None:
    """germination_temperatures.csv, preferred row: the table holds °F; ours rounds °C to four digits."""
    with reference_file("germination_temperatures.csv").open(encoding="utf-8") as file:
        rows = {r["crop"].lower(): r for r in csv.DictReader(file) if r["preferred"] == "yes"}
    maximum_c = (float(rows["tomato"]["max_f"]) - 32) / 1.8
    crop = load_crops()["tomato"]
    sown = Sown(crop.name, 0, crop.floor_c, ceiling_c=crop.max_c, ceiling_kind="published maximum")
    assert hot_verdict(warm(maximum_c + 0.06), sown, close_below_c=1.0).answer is Answer.YES
    assert hot_verdict(warm(maximum_c - 0.06), sown, close_below_c=1.0).answer is Answer.HOLD


def test_what_is_up_or_not_sown_is_not_too_warm() -> None:
    for sown in (None, replace(LETTUCE, emerged_ms=5)):
        verdict = hot_verdict(warm(40.0), sown, close_below_c=1.0)
        assert (verdict.answer, verdict.at_once) == (Answer.NO, True)


def evidence(*wet: float | None, calibrated: bool = True, emerged_d: float | None = None) -> Evidence:
    sown = replace(LETTUCE, emerged_ms=None if emerged_d is None else 0)
    heads = tuple(HeadSample(f"a/{n}", m, calibrated) for n, m in enumerate(wet, 1))
    return Evidence(round((emerged_d or 0) * DAY_MS), "A", heads, MIX, None, sown)


WATERLOGGED = waterlogged_rule(open_delay_s=0, close_delay_s=0, above=0.95, close_below=0.05)
DAMP = damp_rule(open_delay_s=0, close_delay_s=0, above=0.85, close_below=0.10)


def test_the_driest_head_must_be_soaked_and_calibrated() -> None:
    """0.95 × 0.60 = 0.57 m³/m³; 0.90 × 0.60 = 0.54."""
    assert WATERLOGGED.judge(evidence(0.60, 0.58)).answer is Answer.YES
    assert WATERLOGGED.judge(evidence(0.60, 0.55)).answer is Answer.HOLD
    assert WATERLOGGED.judge(evidence(0.60, 0.53)).answer is Answer.NO
    assert WATERLOGGED.judge(evidence(0.60, calibrated=False)).answer is Answer.BLIND
    assert WATERLOGGED.judge(evidence(None)).answer is Answer.BLIND


def test_seed_may_be_as_wet_as_it_likes_and_seedlings_not() -> None:
    """Univ. of Minnesota Extension: moist, not soggy, against damping-off."""
    assert DAMP.judge(evidence(0.55)).at_once
    assert DAMP.judge(evidence(0.55, emerged_d=EMERGING_D - 0.1)).at_once
    assert DAMP.judge(evidence(0.55, emerged_d=EMERGING_D)).answer is Answer.YES
    assert DAMP.judge(evidence(0.40, emerged_d=EMERGING_D)).answer is Answer.NO


wets = st.one_of(st.none(), st.sampled_from([0.40, 0.45, 0.5099, 0.51, 0.54, 0.5699, 0.57, 0.60]))
temps = st.one_of(st.none(), st.sampled_from([20.0, 24.0, 24.5, 25.0, 25.1]))


@given(st.data())
def test_the_answers_to_many_instants_at_once_are_those_to_each(data: st.DataObject) -> None:
    heads, instants = data.draw(st.integers(0, 3)), data.draw(st.integers(1, 4))
    sown = data.draw(
        st.sampled_from(
            [None, LETTUCE, replace(LETTUCE, ceiling_c=None), replace(LETTUCE, emerged_ms=-(10**10))]
        )
    )
    mix, out = data.draw(st.sampled_from([None, MIX])), data.draw(st.booleans())
    known = tuple(data.draw(st.booleans()) for _ in range(heads))
    wet = [[data.draw(wets) for _ in range(instants)] for _ in range(heads)]
    soil = [[data.draw(temps) for _ in range(instants)] for _ in range(heads)]
    one_by_one = [
        Evidence(
            n,
            "A",
            tuple(HeadSample(f"a/{h}", wet[h][n], known[h], "", soil[h][n]) for h in range(heads)),
            mix,
            None,
            sown,
            out,
        )
        for n in range(instants)
    ]
    wet_table, soil_table = (np.array(rows, float).reshape(heads, instants) for rows in (wet, soil))
    spell = Spell(wet_table, soil_table, mix, sown, out, stage_of(0, sown, planted_out=out), known)
    for rule in (hot_rule(open_delay_s=0, close_delay_s=0, close_below_c=1.0), WATERLOGGED, DAMP):
        assert rule.answers is not None
        told = [(v.answer, v.at_once) for v in map(rule.judge, one_by_one)]
        assert [ANSWERS[code] for code in rule.answers(spell).tolist()] == told


def test_stages_follow_the_journal() -> None:
    up, potted = 10 * DAY_MS, 40 * DAY_MS
    seen = [stage_at(round(day * DAY_MS), 0, up, potted) for day in (1, 10, 14.9, 15, 39, 40)]
    assert seen == [
        Stage.SOWN,
        Stage.EMERGING,
        Stage.EMERGING,
        Stage.SEEDLING,
        Stage.SEEDLING,
        Stage.POTTED_UP,
    ]
    assert stage_at(0, None, planted_out=True) is Stage.PLANTED_OUT


def test_a_level_for_a_crop_counts_before_that_for_a_mix_before_that_for_a_stage() -> None:
    given = {"dry.stage.sown.x": 3.0, "dry.mix.Seed mix.x": 2.0, "dry.crop.basil.x": 1.0}
    levels = Levels("dry", {"dry.x": 4.0}, given)
    asked = [Of("basil", "Seed mix", "sown"), Of("leek", "Seed mix", "sown"), Of("leek", "", "sown"), Of()]
    assert [levels.value("x", of) for of in asked] == [1.0, 2.0, 3.0, 4.0]


def test_the_class_of_a_crop_is_that_of_the_published_table() -> None:
    """heat_and_frost.md, hardening minimum by class; okra is not listed and wants warmth to germinate."""
    crops = load_crops()
    named = {
        key: hardiness(key, crops.get(key)) for key in ("cabbage", "lettuce", "squash", "tomato", "okra")
    }
    assert named == {
        "cabbage": Hardiness.HARDY,
        "lettuce": Hardiness.HALF_HARDY,
        "squash": Hardiness.TENDER,
        "tomato": Hardiness.TENDER,
        "okra": Hardiness.TENDER,
    }


def test_the_chance_below_a_limit_is_a_tenth_at_the_end_of_the_interval() -> None:
    assert chance_below(LOW, LOW.low_c) == pytest.approx(0.1)
    assert chance_below(LOW, LOW.high_c) == pytest.approx(0.9)
    assert chance_below(LOW, LOW.estimate_c) == pytest.approx(0.5)
    assert chance_below(replace(LOW, low_c=2.0, high_c=2.0), 2.0) == 1.0


@pytest.mark.parametrize(
    ("limit_c", "answer"), [(1.5, Answer.YES), (0.7, Answer.HOLD), (-2.2, Answer.NO), (7.2, Answer.YES)]
)
def test_frost_is_a_chance_and_the_tenderest_speaks(limit_c: float, answer: Answer) -> None:
    trays = [Threatened("A", "Tomato", Hardiness.TENDER, limit_c, "a page")]
    trays += [Threatened("B", "Cabbage", Hardiness.HARDY, -30.0, "a page")]
    verdict = frost_verdict(LOW, trays, least_chance=0.3, tonight=True)
    assert verdict.answer is answer
    assert "B" not in str(verdict.facts["trays"])
    assert frost_verdict(None, trays, least_chance=0.3, tonight=True).answer is Answer.BLIND
    assert frost_verdict(LOW, trays, least_chance=0.3, tonight=False).at_once
    assert frost_verdict(LOW, [], least_chance=0.3, tonight=True).at_once


def test_frost_names_each_kind_beside_its_own_limit_and_what_is_safe_not_at_all() -> None:
    """LOW: 10 % for less than 0 °C, 50 % for less than 2 °C, 90 % for less than 5 °C."""
    trays = [
        Threatened("A", "Lettuce", Hardiness.HALF_HARDY, 2.0, "a light freeze"),
        Threatened("B", "Tomato", Hardiness.TENDER, 5.0, "a chill"),
        Threatened("C", "Cabbage", Hardiness.HARDY, -2.2, "a killing freeze"),
    ]
    verdict = frost_verdict(LOW, trays, least_chance=0.3, tonight=True)
    assert "B (Tomato): tender plants are chilled below 5 °C, chance 90 %" in verdict.reason
    assert "A (Lettuce): half-hardy plants freeze below 2 °C, chance 50 %" in verdict.reason
    assert "C" not in str(verdict.facts["trays"])
    assert "killed" not in verdict.reason
    assert verdict.facts["source"] == "a chill; a light freeze"
    assert verdict.facts["do"] == "Cover or carry in before dark: B and A."
    late = frost_verdict(LOW, trays, least_chance=0.3, tonight=True, by="now")
    assert late.facts["do"] == "Cover or carry in now: B and A."
    until_dark = frost_verdict(LOW, trays, least_chance=0.3, tonight=True, by_ms=1000.0).facts
    assert [what_to_do(until_dark, ms) for ms in (999, 1000)] == [
        "Cover or carry in before dark: B and A.",
        "Cover or carry in now: B and A.",
    ]
    at_night = frost_verdict(LOW, trays[1:], least_chance=0.3, tonight=True, by="now").facts
    assert what_to_do({**until_dark, **at_night}, 2000) == "Cover or carry in now: B."


def test_a_frame_that_is_as_warm_as_the_open_air_is_open_already_and_shaded_when_it_is_far_too_hot() -> None:
    """Opening helps from 3 °C above the open air on; over two thirds of that nothing is decided."""

    def asked(air_c: float, outside_c: float | None) -> Verdict:
        return vent_verdict(
            air_c, 1, above_c=27.0, close_below_c=3.0, outside_c=outside_c, least_excess_c=3.0
        )

    outside = (None, 25.0, 28.0, 28.1, 29.0, 29.1, 33.0)
    assert [asked(31.0, out_c).answer for out_c in outside] == [
        Answer.YES,
        Answer.YES,
        Answer.YES,
        Answer.HOLD,
        Answer.HOLD,
        Answer.NO,
        Answer.NO,
    ]
    assert "lift the lid" in str(asked(31.0, 20.0).facts["do"])
    shaded = [asked(air_c, air_c - 1).answer for air_c in (37.1, 37.0, 34.1, 34.0)]
    assert shaded == [Answer.YES, Answer.HOLD, Answer.HOLD, Answer.NO], "over 3 °C below where it is told"
    assert asked(38.0, 37.0).answer is Answer.YES
    assert "Shade it" in str(asked(38.0, 37.0).facts["do"])
    assert "only 1.0 °C warmer than the open air" in asked(38.0, 37.0).reason


def test_a_frame_is_opened_above_its_limit_and_an_empty_one_never() -> None:
    def asked(air_c: float | None, trays: int = 1) -> Answer:
        return vent_verdict(air_c, trays, above_c=27.0, close_below_c=3.0).answer

    assert [asked(t) for t in (27.1, 27.0, 24.1, 24.0, None)] == [
        Answer.YES,
        Answer.HOLD,
        Answer.HOLD,
        Answer.NO,
        Answer.BLIND,
    ]
    assert asked(40.0, 0) is Answer.NO


def test_a_frame_stands_open_where_it_was_opened_and_is_no_warmer_than_outside() -> None:
    """Closed it is 3 to 6 °C warmer by night: Univ. of Missouri Extension G6965."""

    def asked(
        inside_c: float | None, outside_c: float, opened_at: str = "at 12:00", *, closed: bool = False
    ) -> Answer:
        return shut_verdict(
            inside_c,
            outside_c,
            1,
            below_c=7.2,
            least_excess_c=1.0,
            dark=True,
            opened_at=opened_at,
            closed=closed,
        ).answer

    assert asked(5.5, 5.0) is Answer.YES
    assert asked(6.5, 5.0) is Answer.HOLD
    assert asked(8.0, 5.0) is Answer.NO
    assert asked(9.0, 8.5) is Answer.NO
    assert asked(None, 5.0) is Answer.BLIND
    assert asked(5.5, 5.0, opened_at="") is Answer.HOLD, "opened long ago it may stand open still"
    assert asked(None, 5.0, opened_at="") is Answer.BLIND
    assert asked(5.5, 5.0, opened_at="", closed=True) is Answer.NO


def test_rain_is_heavy_recorded_or_forecast() -> None:
    def asked(fell: float | None, coming: float | None) -> Answer:
        return rain_verdict(fell, coming, ["A"], day_mm=20.0).answer

    assert [asked(20.0, None), asked(None, 25.0), asked(3.0, 17.0), asked(3.0, 2.0), asked(None, None)] == [
        Answer.YES,
        Answer.YES,
        Answer.HOLD,
        Answer.NO,
        Answer.BLIND,
    ]


def test_a_probe_in_use_is_quiet_after_its_limit_and_its_battery_low_below_its_own() -> None:
    def silent(silent_s: float | None, *, in_use: bool = True) -> Answer:
        return quiet_verdict(silent_s, after_s=7200.0, in_use=in_use, where="A", battery_v=3.6).answer

    assert [silent(7201.0), silent(7200.0), silent(None), silent(9000.0, in_use=False)] == [
        Answer.YES,
        Answer.NO,
        Answer.BLIND,
        Answer.NO,
    ]

    def volts(battery_v: float | None) -> Answer:
        return battery_verdict(battery_v, in_use=True, below_v=3.5, close_above_v=0.1).answer

    assert [volts(3.49), volts(3.5), volts(3.6), volts(None)] == [
        Answer.YES,
        Answer.HOLD,
        Answer.NO,
        Answer.BLIND,
    ]


def test_faults_are_named_with_head_reason_and_what_to_do() -> None:
    fault = HeadFault("p/1", "disconnected", "it read −127 °C", "Look at its plug.")
    verdict = faults_verdict([fault], in_use=True, measured=True, well="")
    assert (verdict.answer, verdict.reason) == (Answer.YES, "head p/1: disconnected, it read −127 °C")
    assert verdict.facts["do"] == "Look at its plug."
    assert faults_verdict([], in_use=True, measured=False, well="").answer is Answer.BLIND


def test_the_host_knows_when_it_is_unwell() -> None:
    assert [disk_verdict(mb, least_free_mb=500.0).answer for mb in (499.0, 700.0, 750.0, None)] == [
        Answer.YES,
        Answer.HOLD,
        Answer.NO,
        Answer.BLIND,
    ]
    assert [broker_verdict(s, where="b").answer for s in (1.0, 0.0, None)] == [
        Answer.YES,
        Answer.NO,
        Answer.BLIND,
    ]
    assert [slow_verdict(s, slow_s=5.0).answer for s in (5.1, 3.0, 2.5, None)] == [
        Answer.YES,
        Answer.HOLD,
        Answer.NO,
        Answer.BLIND,
    ]
    assert [parked_verdict(n, "x").answer for n in (1, 0)] == [Answer.YES, Answer.NO]


def test_dry_before_the_visit_holds_a_little_beyond_it_and_is_no_matter_once_dry() -> None:
    def asked(dry_in_s: float | None, *, dry: bool = False) -> Answer:
        return drying_verdict(
            dry_in_s, 3600.0, spare_s=600.0, by="", visit="", line="", already_dry=dry
        ).answer

    assert [asked(3599.0), asked(3600.0), asked(4200.0), asked(None), asked(0.0, dry=True)] == [
        Answer.YES,
        Answer.HOLD,
        Answer.NO,
        Answer.BLIND,
        Answer.NO,
    ]


def test_late_seed_is_told_with_its_likeliest_cause() -> None:
    causes = [
        Cause("cold", CauseVerdict.POSSIBLE, "12 of 100 h"),
        Cause("heat", CauseVerdict.LIKELY, "93 h above 25 °C"),
    ]
    verdict = late_verdict(
        sown=True, up=False, overdue=True, crop="Lettuce", sown_on="8 Jul", due="due", causes=causes
    )
    assert verdict.reason == "Lettuce, sown 8 Jul, is late: due; likely cause: heat: 93 h above 25 °C"
    assert "evening" in str(verdict.facts["do"])


def test_out_of_level_counts_before_level_before_what_cannot_be_told() -> None:
    pairs = [TwoEnds("cannot tell", "c."), TwoEnds("level", "l."), TwoEnds("out of level", "o.")]
    assert [tilted_verdict(pairs[:n]).answer for n in (0, 1, 2, 3)] == [
        Answer.BLIND,
        Answer.BLIND,
        Answer.NO,
        Answer.YES,
    ]


def test_what_was_put_level_ends_at_once_and_what_only_seems_so_in_its_time() -> None:
    put, unsure = TwoEnds("cannot tell", "c.", put="put level at 8:00"), TwoEnds("cannot tell", "c.")
    seems = TwoEnds("cannot tell", "s.", evened=True)
    found = [tilted_verdict(ends) for ends in ([put], [seems], [put, unsure], [put, seems])]
    assert [(v.answer, v.at_once) for v in found] == [
        (Answer.NO, True),
        (Answer.NO, False),
        (Answer.BLIND, False),
        (Answer.NO, True),
    ]
    assert tilted_verdict([put, TwoEnds("out of level", "o.")]).answer is Answer.YES


def test_visits_are_what_was_done_on_many_days_and_the_next_is_an_hour_off_at_least() -> None:
    often = [(day * 24 + hour) * HOUR_MS for day in range(12) for hour in (7, 19)]
    once = [(3 * 24 + 13) * HOUR_MS]
    assert usual_visits(often + once, 12 * DAY_MS, UTC) == [7.0, 19.0]
    assert usual_visits(often[:6], 12 * DAY_MS, UTC) == []
    for hour, then in ((6.5, "07:00"), (5.9, "07:00"), (18.5, "07:00"), (17.9, "19:00")):
        at_ms = next_visit_ms([7.0, 19.0], round(hour * HOUR_MS), UTC)
        told = datetime.fromtimestamp(at_ms / 1000, UTC)
        assert f"{told:%H:%M}" == ("19:00" if hour == 6.5 else then)
