"""Mixes in a simulated garden: one truly dries 1.5 times as fast as another, others do not differ."""

from collections.abc import Iterator, Sequence
from dataclasses import replace

import msgspec
import numpy as np
import pytest

from tests.services.little_garden import LittleGarden
from tests.services.questions.conftest import grounded
from tests.services.season import Kept, holding, kept_season
from traywarden.demo.hands import Hands
from traywarden.demo.season import HeadPlan, grown
from traywarden.demo.weather import Climate
from traywarden.domain.journal import Kind
from traywarden.errors import ShortOfDataError, UnknownNameError, UsageError
from traywarden.services.journal import Draft, put, undo
from traywarden.services.questions.ground import DAY_MS
from traywarden.services.questions.mix_advice import ask_mix_advice
from traywarden.services.questions.mixes import BY_HOUR, ask_mix_compare

BENCH, FRAME, SHADE = "open bench", "cold frame", "dappled shade"
TRUE_RATIO = 1.5
THIRSTY_S = 1_777_593_600  # 2026-05-01


MIXES = {"Fast": holding(0.8), "Slow": holding(0.8 * TRUE_RATIO), "Same": holding(0.8), "Alone": holding(0.8)}


def planned(where: Sequence[tuple[str, str]]) -> tuple[HeadPlan, ...]:
    return tuple(HeadPlan(f"{mix} {n}", mix, place) for n, (mix, place) in enumerate(where))


@pytest.fixture(scope="module")
def kept(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Kept]:
    where = [(mix, place) for mix in ("Fast", "Slow", "Same") for place in (BENCH, FRAME, FRAME, BENCH)]
    season = grown(
        days=45,
        plans=planned([*where, ("Alone", SHADE), ("Alone", SHADE)]),
        mixes=MIXES,
        seed=41,
        start_s=THIRSTY_S,
    )
    made = kept_season(tmp_path_factory.mktemp("mixes"), season=season)
    yield made
    made.store.close()


def test_the_ratio_is_the_true_one_within_its_interval_and_in_a_plain_sentence(kept: Kept) -> None:
    with kept.ground() as ground:
        found = ask_mix_compare(ground, "fast", "Slow")
    assert found.comparison.ratio == pytest.approx(TRUE_RATIO, rel=0.1)
    assert found.comparison.low is not None
    assert found.comparison.high is not None
    assert found.comparison.low < TRUE_RATIO < found.comparison.high
    assert "place" in found.comparison.allowed_for
    assert found.sentence.startswith("Fast dries 1.")
    assert "times as fast as Slow (" in found.sentence
    assert found.a.trays == found.b.trays == 4
    with kept.ground() as ground:
        other = ask_mix_compare(ground, "Slow", "Fast")
    assert other.sentence.startswith("Fast dries 1.")
    assert other.comparison.ratio == pytest.approx(1 / (found.comparison.ratio or 1), rel=0.01)


def test_the_days_side_by_side_say_the_same_whatever_the_weather(kept: Kept) -> None:
    with kept.ground() as ground:
        side = ask_mix_compare(ground, "Fast", "Slow").side_by_side
    assert side.places == (FRAME, BENCH)
    assert side.days >= 30
    assert side.ratio == pytest.approx(TRUE_RATIO, rel=0.1)
    assert side.low is not None
    assert side.high is not None
    assert side.low < TRUE_RATIO * 1.1
    assert side.high > TRUE_RATIO * 0.9


def test_mixes_that_do_not_differ_are_alike_or_not_yet_told_apart(kept: Kept) -> None:
    with kept.ground() as ground:
        found = ask_mix_compare(ground, "Fast", "Same")
    assert not found.comparison.told
    assert "dry alike" in found.sentence or (
        "Cannot tell yet" in found.sentence and " more " in found.sentence
    )


def test_a_mix_that_only_ever_stood_elsewhere_is_not_compared(kept: Kept) -> None:
    with kept.ground() as ground:
        found = ask_mix_compare(ground, "Fast", "Alone")
    assert found.sentence == (
        "Cannot tell whether Fast or Alone dries faster: Fast and Alone never stood in the same place; put a "
        "tray of each side by side."
    )
    assert found.side_by_side.ratio is None


def test_the_first_days_are_too_few_and_it_says_what_is_missing(kept: Kept) -> None:
    with kept.ground(kept.stored.now_ms - 41 * DAY_MS) as ground:
        found = ask_mix_compare(ground, "Fast", "Same")
    assert "annot tell" in found.sentence


def test_any_other_measure_of_demand_can_be_put_in(kept: Kept) -> None:
    """Ten times the deficit is the same demand in another unit: the ratio stays, the rate is a tenth."""
    with kept.ground() as ground:
        one = ask_mix_compare(ground, "Fast", "Slow", demand=lambda air: air.vpd_kpa)
        ten = ask_mix_compare(
            ground, "Fast", "Slow", demand=lambda air: air.vpd_kpa * 10, demand_says="sun, wind and air"
        )
        none = ask_mix_compare(ground, "Fast", "Slow", demand=lambda air: np.full(air.hour_s.size, np.nan))
    assert ten.equal == "sun, wind and air"
    for found in (one, none):  # the table says the same as the verdict
        a, b = found.a.loss_pct_per_day, found.b.loss_pct_per_day
        assert a is not None
        assert b is not None
        assert a / b == pytest.approx(found.comparison.ratio, rel=0.01)
    assert ten.comparison.ratio == pytest.approx(one.comparison.ratio)
    assert ten.a.loss_pct_per_day == pytest.approx((one.a.loss_pct_per_day or 0) / 10, abs=0.01)
    assert none.equal == BY_HOUR
    assert any("weather is not allowed for" in remark for remark in none.remarks)
    assert none.comparison.ratio == pytest.approx(TRUE_RATIO, rel=0.25)


def test_what_is_worth_knowing_is_a_setting(kept: Kept) -> None:
    with kept.ground(mix__worth_knowing=3.0) as ground:
        assert ask_mix_compare(ground, "Fast", "Slow").alike


def test_a_tray_filled_anew_counts_for_each_mix_while_it_held_it(kept: Kept) -> None:
    half_ms = kept.stored.now_ms - 20 * DAY_MS
    tray_id = kept.stored.tray_ids["Slow 4"]
    with kept.ground() as ground:
        before = ask_mix_compare(ground, "Fast", "Slow")
    with kept.store.write() as tx:
        entry = put(
            tx,
            Draft(Kind.FILLED, half_ms, tray_id=tray_id, mix_id=kept.stored.mix_ids["Fast"]),
            kept.stored.now_ms,
        )
    with kept.ground() as ground:
        after = ask_mix_compare(ground, "Fast", "Slow")
    with kept.store.write() as tx:
        undo(tx, entry.entry_id, kept.stored.now_ms)
    assert after.a.trays == before.a.trays + 1
    assert after.b.trays == before.b.trays
    assert after.b.stretches < before.b.stretches


def test_wet_in_the_cold_wants_perlite_and_dry_in_the_heat_wants_compost(
    tmp_path_factory: pytest.TempPathFactory,
) -> None:
    soggy = replace(holding(1.25), drains_s=4000.0)
    open_mix = replace(holding(0.55), drains_s=600.0)
    plans = planned([(mix, SHADE) for mix in ("Soggy", "Gritty") for _ in range(4)])
    hands = {"line": (0.35, 0.45), "skimpy": 0.0}
    cool = kept_season(
        tmp_path_factory.mktemp("cool"),
        season=grown(
            days=45,
            plans=plans,
            mixes={"Soggy": soggy, "Gritty": open_mix},
            seed=3,
            climate=Climate(
                mean_c=8.0, summer_c=1.0, rain_days=0.05, swing_c=3.0, dew_below_c=2.0, wind_m_s=0.8
            ),
            hands=Hands(seed=3, **hands),  # type: ignore[arg-type]
        ),
    )
    with cool.ground(mix__wet_too_long_h=30.0) as ground:
        found = ask_mix_advice(ground)
    cool.store.close()
    by = {(line.mix, line.weather): line for line in found.lines}
    wet = by["Soggy", "cool"]
    assert wet.finding == "yes"
    assert wet.low_h is not None
    assert wet.low_h > 30
    assert "perlite" in wet.advice
    assert "Int. J. Agronomy 2012" in wet.because
    assert found.sentence.startswith("Soggy: more perlite")
    assert by["Gritty", "cool"].finding != "yes"
    assert (by["Gritty", "cool"].median_h or 0) < (wet.median_h or 1e9)
    assert by["Soggy", "hot"].finding == "cannot tell"
    assert "0 waterings" in by["Soggy", "hot"].says
    hot = kept_season(
        tmp_path_factory.mktemp("hot"),
        season=grown(
            days=30,
            plans=planned([("Gritty", BENCH)] * 4),
            mixes={"Gritty": replace(open_mix, stage_one_ends_m3_m3=0.06)},
            seed=3,
            start_s=THIRSTY_S + 50 * 86_400,
            climate=Climate(mean_c=24.0, dew_below_c=12.0, rain_days=0.0, wind_m_s=2.5),
            hands=Hands(seed=3, line=(0.6, 0.8), skimpy=0.0, visits_h=(7.0, 12.0, 18.0)),
        ),
    )
    with hot.ground(mix__dry_within_h=36.0) as ground:
        [_, dry] = ask_mix_advice(ground, "gritty").lines
    hot.store.close()
    assert dry.finding == "yes"
    assert dry.median_h is not None
    assert dry.median_h < 36
    assert "compost or coir" in dry.advice
    assert dry.air_temp_c is not None
    assert dry.air_temp_c >= 22


def test_wrong_questions_get_one_sentence(kept: Kept, little: LittleGarden, empty: LittleGarden) -> None:
    with kept.ground() as ground:
        with pytest.raises(UsageError, match="with itself"):
            ask_mix_compare(ground, "Fast", "fast")
        with pytest.raises(UnknownNameError):
            ask_mix_compare(ground, "Fast", "Fats")
        with pytest.raises(UsageError, match="--days"):
            ask_mix_advice(ground, days=-1)
    with grounded(little.store) as ground:
        found = ask_mix_compare(ground, "Peat mix", "Bark mix")
    assert found.sentence.startswith("Cannot tell whether Peat mix or Bark mix")
    assert "in one tray alone" in found.sentence
    assert any("not calibrated in your mix: lettuce, peppers" in remark for remark in found.remarks)
    with grounded(empty.store) as ground, pytest.raises(ShortOfDataError):
        ask_mix_compare(ground, "Peat mix", "Bark mix")


def test_the_answers_are_json_able(kept: Kept) -> None:
    with kept.ground() as ground:
        assert msgspec.to_builtins(ask_mix_compare(ground, "Fast", "Slow"))["comparison"]["ratio"] > 1
        assert len(msgspec.to_builtins(ask_mix_advice(ground))["lines"]) == 8
