"""Heads of a simulated season show what was put into them; what is accepted holds from its date on."""

import re
from collections.abc import Iterator
from dataclasses import replace

import msgspec
import numpy as np
import pytest

from tests.services.little_garden import NOW_MS, LittleGarden
from tests.services.questions.conftest import grounded
from tests.services.season import Kept, kept_season
from traywarden.demo.season import START_S, grown
from traywarden.demo.sensors import drawn_sensors
from traywarden.domain.journal import Kind
from traywarden.errors import ShortOfDataError, UnknownNameError, UsageError
from traywarden.services.journal import Draft, put, undo
from traywarden.services.knowledge import Knowledge
from traywarden.services.questions.dry_down import ask_dry_down
from traywarden.services.questions.ground import DAY_MS
from traywarden.services.questions.moisture import MoistureAnswer, ask_moisture, mix_capacity
from traywarden.services.questions.moisture_head import HeadMoisture
from traywarden.services.questions.today import ask_today


@pytest.fixture(scope="module")
def kept(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Kept]:
    made = kept_season(tmp_path_factory.mktemp("season"), capacity_off=-0.08)
    yield made
    made.store.close()


@pytest.fixture(scope="module")
def told(kept: Kept) -> MoistureAnswer:
    with kept.ground() as ground:
        return ask_moisture(ground)


def heads(answer: MoistureAnswer) -> dict[str, HeadMoisture]:
    return {tray.tray: head for tray in answer.trays for head in tray.heads}


def test_container_capacity_of_every_head_is_the_true_one(kept: Kept, told: MoistureAnswer) -> None:
    for tray, head in heads(told).items():
        true = kept.season.spots[kept.head(tray)].substrate.capacity_m3_m3
        assert head.learned.m3_m3 is not None, tray
        assert head.learned.low_m3_m3 is not None
        assert head.learned.high_m3_m3 is not None
        assert head.learned.low_m3_m3 <= true <= head.learned.high_m3_m3, tray


def test_a_mix_set_up_wrongly_is_pointed_at_with_what_its_heads_show(told: MoistureAnswer) -> None:
    """Each mix was set up 8 % below the truth."""
    assert {m.mix: (m.heads, m.differs) for m in told.mixes} == {
        "Open mix": (3, True),
        "Middle mix": (3, True),
        "Heavy mix": (3, True),
    }
    for mix in told.mixes:
        assert mix.learned_m3_m3 == pytest.approx(mix.set_m3_m3 / 0.92, abs=0.01)


def test_warmth_is_taken_out_with_each_heads_own_sign(kept: Kept, told: MoistureAnswer) -> None:
    taken = {tray: head for tray, head in heads(told).items() if head.warmth.taken_out}
    assert len(taken) >= 3
    for tray, head in taken.items():
        true = float(kept.season.sensors.m3_m3_per_c[kept.head(tray)])
        assert head.warmth.m3_m3_per_c == pytest.approx(true, abs=0.0001)
        assert head.at_20_c_m3_m3 is not None
        assert head.moisture_m3_m3 is not None
        warm_c = np.mean(kept.season.soil_temp_c[-6:, kept.head(tray)])
        assert head.at_20_c_m3_m3 == pytest.approx(head.moisture_m3_m3 - true * (warm_c - 20), abs=0.002)


def test_part_and_level_follow_from_the_mix_as_it_is_set_not_from_what_was_learned(
    kept: Kept, told: MoistureAnswer
) -> None:
    for tray, head in heads(told).items():
        water = kept.season.truth.water_m3_m3[-6:, kept.head(tray)].mean()
        true = kept.season.spots[kept.head(tray)].substrate.capacity_m3_m3
        assert head.dry_source == "dry point of its calibration"
        assert head.part == pytest.approx(water / (0.92 * true), abs=0.05)
        assert head.level is not None
        begins = [0.0, *told.levels_from]
        assert head.part is not None
        assert begins[head.level.number - 1] <= max(head.part, 0.0)


def test_the_first_sentence_names_every_tray_once_by_level(told: MoistureAnswer) -> None:
    assert told.sentence.startswith("Medium: ")
    assert sorted(re.findall(r"Tray \d", told.sentence)) == [f"Tray {n}" for n in range(1, 10)]


def test_levels_are_settings_and_must_rise(kept: Kept) -> None:
    with kept.ground(moisture__level2_from=0.01, moisture__level3_from=0.02) as ground:
        assert all(h.level is None or h.level.number >= 3 for h in heads(ask_moisture(ground)).values())
    with kept.ground(moisture__level2_from=0.9) as ground, pytest.raises(UsageError, match="must rise"):
        ask_moisture(ground)


def test_a_head_that_drifts_is_said_to_with_what_to_do_and_counts_for_no_mix(
    tmp_path_factory: pytest.TempPathFactory,
) -> None:
    base = drawn_sensors(np.array([0.46, 0.55, 0.63]), np.random.default_rng(4))
    slipping = replace(base, drift_v_per_week=np.array([0.0, -0.03, 0.0]))
    season = grown(days=60, heads=3, seed=31, start_s=START_S + 60 * 86_400, sensors=slipping)
    made = kept_season(tmp_path_factory.mktemp("drift"), season=season)
    with made.ground() as ground:
        answer = ask_moisture(ground)
    made.store.close()
    head = heads(answer)["Tray 2"]
    true = float(slipping.drift_m3_m3_per_week[1]) * 4
    assert true > 0.04
    assert head.drift.drifts
    assert head.drift.m3_m3_in_4_weeks == pytest.approx(true, rel=0.15)
    assert "calibrate it anew" in head.drift.says
    assert [h.drift.drifts for t, h in heads(answer).items() if t != "Tray 2"] == [False, False]
    middle = next(m for m in answer.mixes if m.mix == "Middle mix")
    assert (middle.heads, middle.learned_m3_m3) == (0, None)


def test_a_new_calibration_begins_a_new_record(kept: Kept) -> None:
    day_ago_ms = kept.stored.now_ms - DAY_MS
    head_id = kept.stored.head_ids[4]
    with kept.store.write() as tx:
        made = put(
            tx,
            Draft(Kind.CALIBRATED, day_ago_ms, head_id=head_id, data={"points": [[1.2, 0.5], [2.6, 0.05]]}),
            day_ago_ms,
        )
    try:
        with kept.ground() as ground:
            head = heads(ask_moisture(ground, "Tray 5"))["Tray 5"]
    finally:
        with kept.store.write() as tx:
            undo(tx, made.entry_id, day_ago_ms)
    assert head.since.timestamp() * 1000 == day_ago_ms
    assert head.learned.m3_m3 is None
    assert head.warmth.m3_m3_per_c is None
    assert head.dry_m3_m3 == 0.05


def test_what_is_accepted_holds_from_its_date_everywhere_and_can_be_taken_back(kept: Kept) -> None:
    now_ms, mix_id = kept.stored.now_ms, kept.stored.mix_ids["Middle mix"]
    tray_id, half_ms = kept.stored.tray_ids["Tray 2"], kept.stored.now_ms - 20 * DAY_MS
    data = {"container_capacity_m3_m3": 0.55, "waterings": 40}
    with kept.store.read() as tx:
        unheld = Knowledge(tx, {}).of(tray_id).at(now_ms)[0]
    with kept.store.write() as tx:
        entry = put(tx, Draft(Kind.CAPACITY_ACCEPTED, half_ms, mix_id=mix_id, data=data), now_ms)
    with kept.ground() as ground:
        before, after = ground.mix_of(tray_id, half_ms - 1), ground.mix_of(tray_id, half_ms)
        assert before is not None
        assert after is not None
        assert before.container_capacity_m3_m3 == pytest.approx(0.55 * 0.92)
        assert after.container_capacity_m3_m3 == 0.55
        knowledge = Knowledge(ground.tx, {})
        watched = [knowledge.of(tray_id).at(at_ms)[0] for at_ms in (half_ms - 1, half_ms)]
        assert watched == [before, after]
        assert tray_id in knowledge.touched_since(entry.entry_id - 1)
        now = next(t for t in ask_today(ground).trays if t.tray == "Tray 2")
        assert now.moisture_m3_m3 is not None
        assert now.moisture_pct == pytest.approx(now.moisture_m3_m3 / 0.55 * 100, abs=0.06)
        assert heads(ask_moisture(ground, "Tray 2"))["Tray 2"].capacity_m3_m3 == 0.55
        stretches = ask_dry_down(ground, tray="Tray 2", days=45).stretches
        spread = {s.start.timestamp() * 1000 < half_ms for s in stretches}
        assert spread == {True, False}
    with kept.store.write() as tx:
        undo(tx, entry.entry_id, now_ms)
    with kept.ground() as ground:
        assert ground.mix_of(tray_id, now_ms) == unheld


def test_accepted_for_one_tray_it_holds_for_that_one_and_over_what_holds_for_all(kept: Kept) -> None:
    now_ms, mix_id = kept.stored.now_ms, kept.stored.mix_ids["Open mix"]
    one, other = kept.stored.tray_ids["Tray 1"], kept.stored.tray_ids["Tray 4"]
    with kept.store.write() as tx:
        made = [
            put(
                tx,
                Draft(
                    Kind.CAPACITY_ACCEPTED,
                    now_ms - days * DAY_MS,
                    mix_id=mix_id,
                    tray_id=tray_id,
                    data={"container_capacity_m3_m3": value},
                ),
                now_ms,
            )
            for days, tray_id, value in ((3, one, 0.48), (1, None, 0.45))
        ]
        with pytest.raises(UsageError, match="dry line of “Open mix”"):
            put(
                tx,
                Draft(Kind.CAPACITY_ACCEPTED, now_ms, mix_id=mix_id, data={"container_capacity_m3_m3": 0.2}),
                now_ms,
            )
    with kept.ground() as ground:
        held = [ground.mix_of(tray_id, now_ms) for tray_id in (one, other)]
        assert [m.container_capacity_m3_m3 for m in held if m] == [0.48, 0.45]
        knowledge = Knowledge(ground.tx, {})
        assert [knowledge.of(t).at(now_ms)[0] for t in (one, other)] == held
    with kept.store.write() as tx:
        for entry in made:
            undo(tx, entry.entry_id, now_ms)


def test_a_capacity_learned_on_another_calibration_holds_no_more_and_that_is_said(kept: Kept) -> None:
    now_ms, mix_id = kept.stored.now_ms, kept.stored.mix_ids["Middle mix"]
    tray_id, head_id = kept.stored.tray_ids["Tray 2"], kept.stored.head_ids[1]
    week_ms, day_ms = now_ms - 7 * DAY_MS, now_ms - DAY_MS
    learned = {"container_capacity_m3_m3": 0.53, "waterings": 9}
    points = {"points": [[1.2, 0.5], [2.6, 0.05]]}
    with kept.store.write() as tx:
        made = [
            put(
                tx,
                Draft(Kind.CAPACITY_ACCEPTED, week_ms, tray_id=tray_id, mix_id=mix_id, data=learned),
                now_ms,
            ),
            put(tx, Draft(Kind.CALIBRATED, day_ms, head_id=head_id, data=points), now_ms),
        ]
    assert [head for head, _ in made[0].data["heads"]] == [head_id]
    try:
        with kept.ground() as ground:
            known = Knowledge(ground.tx, {}).of(tray_id)
            steps = (week_ms - 1, week_ms, day_ms - 1, day_ms)
            for held in ([ground.mix_of(tray_id, at) for at in steps], [known.at(at)[0] for at in steps]):
                found = [mix.container_capacity_m3_m3 for mix in held if mix]
                assert found == pytest.approx([0.506, 0.53, 0.53, 0.506])
            said = [r for r in ask_moisture(ground).remarks if "holds no more" in r]
    finally:
        with kept.store.write() as tx:
            for entry in reversed(made):
                undo(tx, entry.entry_id, now_ms)
    assert len(said) == 1
    assert said[0].startswith("Tray 2: the container capacity of 0.53 m³/m³ accepted on ")
    assert said[0].endswith("; 0.506 holds until you accept anew")


def test_a_mix_without_a_head_shows_nothing(kept: Kept) -> None:
    with kept.ground() as ground:
        mix = next(iter(ground.mixes.values()))
        assert mix_capacity(ground, mix, "Tray 2") is None
        found = mix_capacity(ground, mix, "Tray 1")
        assert found is not None
        assert found.heads == 1


def test_uncalibrated_heads_are_said_to_be_and_an_old_reading_says_nothing_of_now(
    little: LittleGarden,
) -> None:
    with grounded(little.store) as ground:
        answer = ask_moisture(ground)
    assert any("not calibrated in your mix: lettuce, peppers" in remark for remark in answer.remarks)
    with grounded(little.store, NOW_MS + DAY_MS) as ground:
        late = ask_moisture(ground, "tomatoes")
    assert late.sentence == "tomatoes: not known (no usable moisture was measured lately)."
    assert late.trays[0].heads[0].part is None


def test_wrong_questions_get_one_sentence(little: LittleGarden, empty: LittleGarden) -> None:
    with grounded(little.store) as ground:
        with pytest.raises(UnknownNameError):
            ask_moisture(ground, "tomatos")
        with pytest.raises(UsageError, match="--days"):
            ask_moisture(ground, days=0)
    with grounded(empty.store) as ground, pytest.raises(ShortOfDataError, match="no readings yet"):
        ask_moisture(ground)


def test_the_answer_is_json_able(told: MoistureAnswer) -> None:
    built = msgspec.to_builtins(told)
    assert built["trays"][0]["heads"][0]["level"]["name"]
    assert built["mapping_source"].startswith("common practice, no source")
