"""Hours soaked when cool and hours to the dry line when hot, and advice with its numbers."""

import re

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from lifelines import KaplanMeierFitter

from tests.shared_data import reference_file
from traywarden.domain import media
from traywarden.domain.mix_advice import AdviceLimits, Finding, MixDrying, advise, median_duration
from traywarden.domain.mix_drying import DriedStretch


@given(st.integers(0, 10_000), st.integers(3, 40), st.floats(0.0, 0.8))
@settings(max_examples=50)
def test_at_the_median_the_curve_of_lifelines_comes_down_to_one_half(
    seed: int, n: int, open_part: float
) -> None:
    rng = np.random.default_rng(seed)
    hours = np.round(rng.exponential(30, n)) + 1  # with ties
    ended = rng.uniform(size=n) >= open_part
    found = median_duration(hours, ended, list(range(n)), runs=50)
    theirs = KaplanMeierFitter().fit(hours, ended)
    if found.estimate == np.inf:
        assert float(theirs.predict(hours.max())) > 0.5
    else:
        assert found.estimate is not None
        assert float(theirs.predict(found.estimate)) <= 0.5 + 1e-9
        assert float(theirs.predict(found.estimate - 0.5)) > 0.5


def test_the_interval_holds_the_true_median_of_waterings_that_come_in_trays() -> None:
    """Exponential hours of mean 40 (median 27.7), trays 15 % apart, cut off at 60 h."""
    held = []
    for seed in range(100):
        rng = np.random.default_rng(seed)
        trays = np.repeat(np.arange(6), 8)
        hours = rng.exponential(40, 48) * np.exp(rng.normal(0, 0.15, 6))[trays]
        found = median_duration(np.minimum(hours, 60), hours < 60, trays.tolist(), runs=300)
        assert found.low is not None
        assert found.high is not None
        held.append(found.low <= 40 * np.log(2) <= found.high)
    assert np.mean(held) >= 0.9


def test_ends_that_were_never_seen_make_it_open() -> None:
    found = median_duration([50, 60, 70, 80], [False] * 4, list("abcd"))
    assert found.estimate == np.inf
    assert median_duration([], [], []).estimate is None
    assert "2 of the 3 trays" in median_duration([1, 2, 3], [True] * 3, ["a", "a", "b"]).reason
    with pytest.raises(ValueError, match="for each duration"):
        median_duration([1.0], [True, False], ["a"])


def stretch(
    tray: str,
    *,
    air_c: float,
    soaked_h: float | None = None,
    over: bool = True,
    dry_h: float | None = None,
    mix: str = "peat",
) -> MixDrying:
    one = DriedStretch(0.0, 3e5, 80, None, None, None, None, air_c, soaked_h, over, dry_h, dry_h is not None)
    return MixDrying(mix, tray, "bench", one)


def trays(*hours: float, air_c: float, dry: bool = False) -> list[MixDrying]:
    return [
        stretch(f"t{n % 4}", air_c=air_c, **({"dry_h": h} if dry else {"soaked_h": h}))  # type: ignore[arg-type]
        for n, h in enumerate(hours)
    ]


def test_a_mix_that_stays_wet_long_in_cool_weather_wants_perlite_and_says_why() -> None:
    cool, hot = advise(trays(60, 70, 80, 90, 75, 65, 85, 72, air_c=8.0), "peat")
    assert cool.finding is Finding.YES
    assert "perlite" in cool.advice
    assert "42 % water and 48 % air" in cool.because
    assert cool.hours.estimate == pytest.approx(72)
    assert cool.air_temp_c == 8.0
    assert hot.finding is Finding.UNKNOWN
    assert not hot.advice


def test_a_mix_that_dries_within_the_day_in_heat_wants_compost_or_coir() -> None:
    cool, hot = advise(trays(10, 14, 12, 9, 16, 11, 13, 12, air_c=27.0, dry=True), "peat")
    assert hot.finding is Finding.YES
    assert "compost or coir" in hot.advice
    assert "sphagnum peat 87 %" in hot.because
    assert cool.finding is Finding.UNKNOWN


def test_in_between_nothing_is_to_be_changed_and_at_the_limit_it_says_so() -> None:
    fine, _ = advise(trays(10, 12, 14, 11, 13, 15, 12, 10, air_c=8.0), "peat")
    assert (fine.finding, fine.advice, fine.because) == (Finding.NO, "", "")
    near, _ = advise(trays(20, 90, 30, 80, 45, 60, 25, 70, air_c=8.0), "peat")
    assert near.finding is Finding.AT_THE_LIMIT
    assert "before changing the mix" in near.advice


def test_weather_in_between_other_mixes_and_unknown_air_do_not_count() -> None:
    mixed = [
        *trays(80, 80, 80, air_c=15.0),
        *(stretch(f"o{n}", air_c=8.0, soaked_h=90, mix="bark") for n in range(5)),
    ]
    cool, hot = advise(mixed, "peat")
    assert (cool.waterings, hot.waterings) == (0, 0)
    blank = MixDrying(
        "peat", "t", "b", DriedStretch(0, 1, 2, None, None, None, None, None, 90, True, None, False)
    )
    assert advise([blank] * 5, "peat")[0].waterings == 0
    warm = AdviceLimits(cool_below_c=16.0)
    assert advise(mixed, "peat", warm)[0].waterings == 3


def test_waterings_still_soaked_when_watered_again_count_as_at_least_so_long() -> None:
    rows = [stretch(f"t{n % 4}", air_c=8.0, soaked_h=60.0, over=n % 2 == 0) for n in range(8)]
    cool, _ = advise(rows, "peat")
    assert cool.open_ended == 4
    assert cool.hours.estimate == np.inf or (cool.hours.estimate or 0) >= 60


@pytest.mark.data
def test_published_media_are_at_their_printed_precision() -> None:
    page = reference_file("soil_moisture.md").read_text("utf-8")
    peat = re.search(
        r"Sphagnum peat: air / container capacity / total porosity.*?\| (\d+) / (\d+) / (\d+) %", page
    )
    bark = re.search(r"\| Pine bark \| (\d+) / (\d+) / (\d+) /", page)
    chips = re.search(r"0\.48 cm; 0\.95 cm \| (\d+)/(\d+)/(\d+)/[\d.]+; (\d+)/(\d+)/(\d+)/", page)
    geometry = re.search(
        r"air space (\d+) % \(#1 pot\) → (\d+) % .*?; water after drainage (\d+) → (\d+) %", page
    )
    assert peat
    assert bark
    assert chips
    assert geometry
    printed = [[int(n) for n in row.groups()] for row in (peat, bark)]
    printed += [[int(n) for n in chips.groups()[:3]], [int(n) for n in chips.groups()[3:]]]
    ours = [[m.air_pct, m.container_capacity_pct, m.pores_pct] for m in media.MEDIA]
    assert ours == printed
    assert [int(n) for n in geometry.groups()] == [
        media.AIR_IN_POT_PCT,
        media.AIR_IN_CELL_PCT,
        media.WATER_IN_POT_PCT,
        media.WATER_IN_CELL_PCT,
    ]
