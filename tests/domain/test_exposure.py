"""Drying power of places whose true ratio is known, and what cannot be separated."""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
import statsmodels.api as sm
import statsmodels.formula.api as smf

from traywarden.domain.exposure import Exposure, PlaceStretch, exposures

MIX_RATE = {"peat": 10.0, "bark": 20.0}


def garden(
    rng: np.random.Generator,
    trays: int = 4,
    stretches: int = 5,
    ratio: float = 1.5,
    tray_scatter: float = 0.1,
    mixes: tuple[str, str] = ("peat", "bark"),
    moving: bool = False,
) -> list[PlaceStretch]:
    """Bench and frame; the bench dries `ratio` times as fast in the same air. `moving`: the same trays."""
    rows = []
    own = {n: rng.normal(0, tray_scatter) for n in range(2 * trays)}
    for place, at in (("bench", 0), ("frame", 1)):
        for n in range(trays):
            tray, mix = (n, mixes[n % 2]) if moving else (n + at * trays, mixes[n % 2])
            for _ in range(stretches):
                vpd_kpa = rng.uniform(0.3, 0.8 if place == "bench" else 1.6)
                own_air = MIX_RATE[mix] * vpd_kpa * (ratio if place == "bench" else 1.0)
                rate = own_air * np.exp(own[tray] + rng.normal(0, 0.15))
                rows.append(PlaceStretch(place, tray, mix, float(rate), float(vpd_kpa)))
    return rows


def one(rows: list[PlaceStretch]) -> Exposure:
    [found] = exposures(rows, "frame")
    return found


@pytest.mark.parametrize(("trays", "stretches"), [(3, 4), (4, 4), (6, 5)])
def test_the_interval_holds_the_true_ratio_about_as_often_as_it_says(trays: int, stretches: int) -> None:
    """Meant to be 95 %; 120 gardens each, three standard errors are 6 %."""
    rng = np.random.default_rng(5)
    held, estimates = 0, []
    for _ in range(120):
        ratio = one(garden(rng, trays, stretches)).ratio
        assert ratio.low is not None and ratio.high is not None and ratio.estimate is not None  # noqa: PT018
        held += ratio.low <= 1.5 <= ratio.high
        estimates.append(ratio.estimate)
    assert held / 120 >= 0.88
    assert np.median(estimates) == pytest.approx(1.5, rel=0.05)


def test_the_estimate_is_that_of_huber_s_regression_by_statsmodels() -> None:
    """RLM with HuberT(1.345) and the median absolute deviation, to its convergence; a third are far off."""
    rng = np.random.default_rng(9)
    rows = [
        replace(r, rate_pct_per_day=(r.rate_pct_per_day or 0.0) * (0.3 if rng.random() < 0.2 else 1.0))
        for r in garden(rng)
    ]
    table = pd.DataFrame(
        {
            "y": [np.log((r.rate_pct_per_day or 0) / (r.mean_vpd_kpa or 1)) for r in rows],
            "mix": [r.mix for r in rows],
            "bench": [float(r.place == "bench") for r in rows],
        }
    )
    theirs = smf.rlm("y ~ C(mix) + bench", table, M=sm.robust.norms.HuberT(1.345)).fit().params["bench"]
    assert one(rows).ratio.estimate == pytest.approx(np.exp(theirs), rel=2e-3)


def test_a_fifth_of_the_fits_gone_astray_hardly_move_the_ratio() -> None:
    rng = np.random.default_rng(10)
    rows = garden(rng, 5, 8)
    astray = [
        replace(r, rate_pct_per_day=(r.rate_pct_per_day or 0.0) * 0.3)
        if r.place == "bench" and n % 5 == 0
        else r
        for n, r in enumerate(rows)
    ]
    shift = (one(astray).ratio.estimate or 0.0) / (one(rows).ratio.estimate or 1.0)
    assert 0.85 < shift < 1.05  # least squares would be off by 0.3 ** 0.2, which is 0.79


def test_a_hotter_place_is_not_called_windier() -> None:
    """Frame air is twice as thirsty on average; with a true ratio of 1 nothing is left beyond it."""
    ratio = one(garden(np.random.default_rng(3), 6, 6, ratio=1.0)).ratio
    assert ratio.estimate == pytest.approx(1.0, abs=0.15)
    assert ratio.low is not None
    assert ratio.low < 1 < (ratio.high or 0)


def test_trays_that_stood_in_both_places_are_compared_with_themselves() -> None:
    found = one(garden(np.random.default_rng(4), 4, 4, tray_scatter=0.5, moving=True))
    assert found.held_alike == "tray"
    assert found.ratio.estimate == pytest.approx(1.5, rel=0.12)
    apart = one(garden(np.random.default_rng(4), 4, 4, tray_scatter=0.5))
    assert apart.held_alike == "mix"
    assert (apart.ratio.high or 0) - (apart.ratio.low or 0) > (found.ratio.high or 0) - (found.ratio.low or 0)


def test_a_mix_of_its_own_in_each_place_cannot_be_told_from_the_place() -> None:
    rows = [r for r in garden(np.random.default_rng(1)) if (r.place == "bench") == (r.mix == "bark")]
    found = one(rows)
    assert found.ratio.estimate is None
    assert found.reason == "no mix was in both places, so the place and the mix cannot be told apart"


def test_one_tray_in_each_place_gets_an_interval_that_says_it_may_be_the_tray() -> None:
    found = one(garden(np.random.default_rng(1), 1, 6))
    assert found.ratio.low is not None
    assert found.reason.startswith("one tray on one side: that may be the tray")


def test_stretches_without_air_or_rate_count_for_nothing() -> None:
    rows = garden(np.random.default_rng(1), 3, 4)
    blind = [PlaceStretch("shade", 99, "peat", 12.0, None), PlaceStretch("shade", 99, "peat", None, 0.5)]
    still = [PlaceStretch("shade", 98, "peat", 12.0, 0.05)]
    assert [found.place for found in exposures(rows + blind + still, "frame")] == ["bench"]
    few = one(rows[:2] + [r for r in rows if r.place == "frame"])
    assert few.reason == "2 of the 3 dry-downs it takes on each side"
    [alone] = exposures([r for r in rows if r.place == "bench"], "frame")
    assert alone.reason == "nothing to hold it against"
