"""Expected days of first and half emergence: against seeds drawn one by one, and on simulated sowings."""

import numpy as np
import pytest

from tests.figures import emergence as figures
from tests.figures import emergence_band, records
from traywarden.domain.crops import Crop
from traywarden.domain.development import curve_for
from traywarden.domain.emergence import LATE_FROM, Expectation, expect, horizon_h
from traywarden.domain.ensemble import Ensemble
from traywarden.domain.factors import LOT_LOG_SD, SOWING_LOG_SD, Belief, before
from traywarden.domain.looks import LOG_FACTORS, SPREAD_WEIGHTS, SPREADS, Look, Seeds, log_likelihood
from traywarden.domain.progress import Progress, progress_since
from traywarden.store.crops import load_crops

HOUR_S, DAY_S = 3600.0, 86_400.0
TOMATO = curve_for(load_crops()["tomato"])
SURE = before(0.004)
ALL_SD = float(np.sqrt(TOMATO.log_sd**2 + LOT_LOG_SD**2 + SOWING_LOG_SD**2))


def ten_days(hours: int) -> Progress:
    """A sowing in a mix so steady that the table's time is ten days."""
    ends = HOUR_S * np.arange(1, hours + 1, dtype=np.float64)
    made = progress_since(ends - HOUR_S, np.full(hours, 20.0), 0.0, float(ends[-1]), STEADY, **POLICY)
    assert made.now == pytest.approx(hours / 240, rel=1e-6)
    return made


POLICY = {"least_coverage": 0.8, "longest_gap_s": 7200.0}
STEADY = curve_for(Crop("x", "x", days_to_emergence=((10.0, 10.0), (20.0, 10.0), (30.0, 10.0))))


def days(found: Expectation) -> list[float | None]:
    windows = (found.first, found.half)
    return [None if s is None else s / DAY_S for w in windows for s in (w.low_s, w.mid_s, w.high_s)]


def steady_ahead(from_hour: int, hours: int) -> Ensemble:
    return Ensemble(
        HOUR_S * np.arange(from_hour, from_hour + hours, dtype=np.float64),
        np.full((3, hours), 20.0),
        7,
        "made",
    )


def test_first_and_half_are_the_quantiles_of_seeds_drawn_one_by_one() -> None:
    """20,000 sowings of 60 seeds by plain Monte Carlo; quantiles to 1.5 % of the days."""
    rng = np.random.default_rng(3)
    seeds, runs = Seeds(60, 0.8), 20_000
    spread = 0.2 * rng.choice(SPREADS, size=(runs, 1), p=SPREAD_WEIGHTS)
    factor = np.exp(rng.normal(0, 0.15, size=(runs, 1)))
    up = 10.0 * factor * np.exp(spread * rng.standard_normal((runs, seeds.count)))
    up = np.sort(np.where(rng.random(up.shape) < seeds.germination, up, np.inf), axis=1)
    half = np.nanmedian(np.where(np.isfinite(up), up, np.nan), axis=1)
    belief = before(0.15)
    found = expect(ten_days(600), STEADY, None, belief, belief, seeds)
    expected = [*np.quantile(up[:, 0], [0.1, 0.5, 0.9]), *np.quantile(half, [0.1, 0.5, 0.9])]
    np.testing.assert_allclose(np.array(days(found), np.float64), expected, rtol=0.015)


def test_none_up_at_a_look_leaves_what_monte_carlo_leaves() -> None:
    """The same seeds, kept only where none was up after nine days."""
    rng = np.random.default_rng(4)
    seeds, runs = Seeds(60, 0.8), 60_000
    spread = 0.2 * rng.choice(SPREADS, size=(runs, 1), p=SPREAD_WEIGHTS)
    factor = np.exp(rng.normal(0, 0.25, size=(runs, 1)))
    up = 10.0 * factor * np.exp(spread * rng.standard_normal((runs, seeds.count)))
    up = np.where(rng.random(up.shape) < seeds.germination, up, np.inf)
    first = up.min(axis=1)
    kept = first > 9.0
    belief = before(0.25)
    looks = [Look(0.9, 0)]
    seen = belief.given(log_likelihood(looks, seeds))
    found = expect(ten_days(600), STEADY, None, belief, seen, seeds, none_up_s=9 * DAY_S)
    np.testing.assert_allclose(
        np.array(days(found)[:3], np.float64), np.quantile(first[kept], [0.1, 0.5, 0.9]), rtol=0.02
    )


def test_the_more_seeds_the_earlier_the_first_and_the_same_the_half() -> None:
    few = expect(ten_days(600), STEADY, None, SURE, SURE, Seeds(10, 0.9))
    many = expect(ten_days(600), STEADY, None, SURE, SURE, Seeds(500, 0.9))
    assert many.first.mid_s is not None
    assert few.first.mid_s is not None
    assert many.first.mid_s < few.first.mid_s - DAY_S
    assert many.half.mid_s == pytest.approx(few.half.mid_s, abs=0.05 * DAY_S)


def test_what_lies_beyond_the_outlook_is_none_and_not_a_made_up_day() -> None:
    found = expect(ten_days(24), STEADY, steady_ahead(24, 120), SURE, SURE, Seeds(40, 0.8))
    assert found.half.mid_s is None
    assert found.until_s == pytest.approx(143 * HOUR_S, abs=3 * HOUR_S)


def test_progress_goes_on_from_the_record_into_the_outlook() -> None:
    found = expect(ten_days(120), STEADY, steady_ahead(120, 400), SURE, SURE, Seeds(4000, 0.99))
    assert found.half.mid_s == pytest.approx(10 * DAY_S, rel=0.02)
    assert found.done[1] == pytest.approx(0.5, rel=0.02)


def test_a_sowing_is_overdue_once_nine_in_ten_first_emergences_should_have_come() -> None:
    early = expect(ten_days(120), STEADY, None, SURE, SURE, Seeds(40, 0.8))
    late = expect(ten_days(240), STEADY, None, SURE, SURE, Seeds(40, 0.8))
    assert not early.overdue
    assert late.overdue
    assert early.first_by_now < LATE_FROM <= late.first_by_now


def test_filled_gaps_and_borrowed_temperatures_widen_the_band() -> None:
    plain = ten_days(600)
    gappy = Progress(plain.end_s, plain.progress, 0.85, 90.0, 0.3, 0.0, plain.slow, 20.0)
    narrow, wide = (expect(p, STEADY, None, SURE, SURE, Seeds(40, 0.8)).half for p in (plain, gappy))
    assert wide.high_s is not None
    assert narrow.high_s is not None
    assert wide.high_s > 1.2 * narrow.high_s


def test_the_horizon_is_as_far_as_the_seed_needs_and_no_farther() -> None:
    assert horizon_h(ten_days(24), STEADY, np.full(48, 20.0)) <= 45 * 24
    assert horizon_h(ten_days(24), TOMATO, np.full(48, 4.0)) == 60 * 24


def test_the_band_holds_four_of_five_simulated_sowings() -> None:
    """Known table error, spread, weather law: proves that the three are put together rightly, no more.

    400 sowings: 80 % ± 4 (two standard errors); each look before the question empty or not known.
    """
    found = emergence_band.held(11)
    assert found.asked > 250
    assert 0.74 <= found.first <= 0.86
    assert 0.74 <= found.half <= 0.86


def test_counts_recover_the_factor_of_a_simulated_sowing() -> None:
    """Counted every two days; the 80 % belief about its own factor holds the truth in four of five."""
    rng = np.random.default_rng(12)
    held, width = 0, []
    for _ in range(200):
        truth = float(np.exp(rng.normal(0, ALL_SD)))
        spread = 0.2 * rng.choice(SPREADS, p=SPREAD_WEIGHTS)
        seeds = Seeds(72, 0.8)
        needs = truth * np.exp(spread * rng.standard_normal(rng.binomial(72, 0.8)))
        at = np.arange(0.2, 2.4, 0.2)
        looks = [Look(float(p), int((needs <= p).sum())) for p in at]
        found: Belief = before(ALL_SD).given(log_likelihood(looks, seeds))
        low, _, high = found.quantiles()
        held += low <= truth <= high
        width.append(found.log_sd)
    assert 0.72 <= held / 200 <= 0.88
    assert np.mean(width) < 0.05 < ALL_SD
    assert LOG_FACTORS[1] - LOG_FACTORS[0] < np.mean(width)


@pytest.mark.data
def test_on_a_year_of_soil_the_coming_days_alone_hold_about_four_of_five_sowings() -> None:
    """Four crops sown every fifth day, their table taken for true: docs/emergence.md names both figures."""
    there = figures.outlook(records.bondville(), 80, 300)
    elsewhere = figures.outlook(records.ford_dry_lake(), 20, 310)
    assert (len(there), len(elsewhere)) == (176, 216)
    assert 0.76 <= figures.covered(there) <= 0.84
    assert 0.70 <= figures.covered(elsewhere) <= 0.84
    for rows in (there, elsewhere):
        assert figures.rms(np.log(rows[:, 2] / rows[:, 0])) < 0.31
