"""How long mixes stay soaked, in the little garden: its trays dry exponentially from container capacity."""

import math
from dataclasses import replace

import pytest
import vl_convert

from tests.services.little_garden import (
    CAPACITY,
    NOW_MS,
    RESIDUAL,
    START_MS,
    TAU_DAYS,
    WATERED_H,
    LittleGarden,
)
from tests.services.questions.conftest import grounded
from traywarden.errors import ShortOfDataError, UnknownNameError, UsageError
from traywarden.services.questions.dry_down import ask_dry_down
from traywarden.services.questions.mix_picture import NEAR, dry_down_picture, soaked_picture
from traywarden.services.questions.soaked import SoakedAnswer, ask_soaked

HOUR_MS = 3_600_000
SOAKED = 0.95


def soaked_h(tray: str) -> float:
    """When the made tray falls through the limit."""
    return TAU_DAYS[tray] * 24 * math.log((CAPACITY - RESIDUAL) / (SOAKED * CAPACITY - RESIDUAL))


def asked(little: LittleGarden, now_ms: int = NOW_MS, mix: str = "", days: float = 30.0) -> SoakedAnswer:
    with grounded(little.store, now_ms, mix__soaked_above=SOAKED) as ground:
        return ask_soaked(ground, mix, days)


def test_every_watering_is_there_with_the_hours_it_truly_lasted(little: LittleGarden) -> None:
    answer = asked(little)
    assert answer.above_pct == 95.0
    for tray, hours in WATERED_H.items():
        rows = [w for w in answer.waterings if w.tray == tray]
        # The first dry-down begins before the record does, soaked no more; each watering begins one.
        assert len(rows) == len(hours)
        for row, at_h in zip(rows, hours, strict=True):
            assert row.ended
            assert row.soaked_h == pytest.approx(soaked_h(tray), abs=1.5)  # told by the hour
            assert abs(row.at.timestamp() * 1000 - START_MS - at_h * HOUR_MS) <= HOUR_MS


def test_a_mix_is_the_median_of_its_waterings_and_few_trays_give_no_interval(little: LittleGarden) -> None:
    mixes = {mix.mix: mix for mix in asked(little).mixes}
    bark, peat = mixes["Bark mix"], mixes["Peat mix"]
    assert (bark.waterings, bark.trays, peat.waterings, peat.trays) == (5, 2, 3, 1)
    assert peat.soaked_h == pytest.approx(soaked_h("tomatoes"), abs=1.5)
    assert bark.soaked_h == pytest.approx(soaked_h("peppers"), abs=1.5)  # three of the five
    assert (bark.low_h, bark.high_h, bark.reason) == (None, None, "2 of the 3 trays an interval needs")
    assert asked(little).sentence.startswith("Soaked after a watering, in the middle of cases: Bark mix ")


def test_what_had_not_ended_when_last_seen_lasted_at_least_so_long(little: LittleGarden) -> None:
    answer = asked(little, START_MS + round((WATERED_H["lettuce"][1] + 3.5) * HOUR_MS))
    last = next(w for w in reversed(answer.waterings) if w.tray == "lettuce")
    assert not last.ended
    assert 2.0 <= last.soaked_h <= 5.0
    assert next(mix for mix in answer.mixes if mix.mix == "Bark mix").open_ended == 1


def test_one_mix_may_be_asked_for_and_what_cannot_be_asked_is_said(little: LittleGarden) -> None:
    assert {w.mix for w in asked(little, mix="peat mix").waterings} == {"Peat mix"}
    with pytest.raises(UnknownNameError):
        asked(little, mix="Sand")
    with pytest.raises(UsageError, match="holds nothing"):
        asked(little, days=0)


def test_without_readings_there_is_no_answer(empty: LittleGarden) -> None:
    with grounded(empty.store) as ground, pytest.raises(ShortOfDataError):
        ask_soaked(ground)


def test_the_picture_has_a_dot_for_every_watering_and_none_hides_another(little: LittleGarden) -> None:
    answer = asked(little)
    spec = soaked_picture(answer)
    dots = spec["datasets"]["known"]
    assert sorted((d["mix"], d["tray"], d["value"]) for d in dots) == sorted(
        (w.mix, w.tray, w.soaked_h) for w in answer.waterings
    )
    assert spec["datasets"]["open"] == []
    assert "open" not in {layer["data"]["name"] for layer in spec["layer"]}, "an empty layer says nothing"
    most = max(d["value"] for d in dots)
    for one in dots:
        for other in dots:
            if one is not other and one["row"] == other["row"]:
                assert abs(one["value"] - other["value"]) > most * NEAR or one["lift"] != other["lift"]
    assert {m["mix"]: m["median"] for m in spec["datasets"]["medians"]} == {
        mix.mix: mix.soaked_h for mix in answer.mixes
    }


def test_every_stretch_that_tells_is_a_dot_in_the_row_of_its_tray_below_its_mix(
    little: LittleGarden,
) -> None:
    with grounded(little.store) as ground:
        answer = ask_dry_down(ground)
    spec = dry_down_picture(answer)
    data = spec["datasets"]
    told = [s for s in answer.stretches if s.rate_pct_per_day is not None]
    assert told
    assert sorted((d["tray"], d["value"], d["air"]) for d in data["known"]) == sorted(
        (s.tray, s.rate_pct_per_day, s.mean_vpd_kpa) for s in told
    )
    rows = [row.partition("|")[2] for row in spec["encoding"]["y"]["scale"]["domain"]]
    assert rows == ["Bark mix", "lettuce", "peppers", "Peat mix", "tomatoes"]
    assert {d["row"].partition("|")[2] for d in data["known"]} <= set(rows)


def test_where_air_was_not_measured_the_dot_is_a_ring_and_the_picture_says_so(little: LittleGarden) -> None:
    with grounded(little.store) as ground:
        answer = ask_dry_down(ground)
    blind = replace(answer, stretches=tuple(replace(s, mean_vpd_kpa=None) for s in answer.stretches))
    spec = dry_down_picture(blind)
    assert (len(spec["datasets"]["known"]), bool(spec["datasets"]["open"])) == (0, True)
    assert "rings: air not measured" in spec["title"]["subtitle"][0]
    assert "rings" not in dry_down_picture(answer)["title"]["subtitle"][0]
    assert "<svg" in vl_convert.vegalite_to_svg(spec)
