"""Degree-days of garden days from dense readings."""

import csv
import math
from datetime import UTC, date, datetime, timedelta
from typing import TypedDict
from zoneinfo import ZoneInfo

import numpy as np
import pandas as pd
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st
from scipy.integrate import quad, trapezoid

from tests.shared_data import shared_file
from traywarden.domain.coverage import coverage
from traywarden.domain.degree_days import CUTOFFS, METHODS, daily_degree_days, degree_days
from traywarden.errors import UsageError

UTC_ZONE = ZoneInfo("UTC")
LISBON = ZoneInfo("Europe/Lisbon")


class Policy(TypedDict):
    least_coverage: float
    longest_gap_s: float


POLICY = Policy(least_coverage=0.8, longest_gap_s=7200.0)


def at_s(*when: int) -> float:
    return datetime(*when, tzinfo=UTC).timestamp()  # type: ignore[misc,arg-type]


@pytest.mark.parametrize("cutoff", CUTOFFS)
def test_a_synthetic_sine_day_gives_baskerville_and_emins_closed_form(cutoff: str) -> None:
    """A 5-minute polyline lies under the sine by at most W·(π·5/1440)²/2 ≈ 0.0007 °C for W = 12 °C.

    So 0.002 °C·days; the vertical cutoff, a step of 18 °C, adds none as its crossings are solved on the line.
    """
    times = at_s(2026, 3, 1) + np.arange(0.0, 86_401.0, 300.0)
    temps = 18.0 - 12.0 * np.cos(2.0 * np.pi * (times - times[0]) / 86_400.0)
    day = daily_degree_days(
        times, temps, UTC_ZONE, 10.0, 28.0, cutoff=cutoff, last_day=date(2026, 3, 1), **POLICY
    )
    expected = float(degree_days(6.0, 30.0, 10.0, 28.0, method="single sine", cutoff=cutoff))
    assert day["degree_days"].iloc[0] == pytest.approx(expected, abs=0.002)
    assert day["mean_c"].iloc[0] == pytest.approx(18.0, abs=1e-9)
    assert (day["min_c"].iloc[0], day["max_c"].iloc[0]) == pytest.approx((6.0, 30.0))
    assert day["coverage"].iloc[0] == 1.0


def heat_rate(temp: float, lower: float, upper: float, cutoff: str) -> float:
    if temp <= lower:
        return 0.0
    if cutoff == "none" or temp <= upper:
        return temp - lower
    return {"horizontal": upper - lower, "intermediate": 2 * upper - lower - temp, "vertical": 0.0}[cutoff]


def hundredths(low: int, high: int) -> st.SearchStrategy[float]:
    """Temperatures as sensors give them; quad warns of a crossing 1e-14 into a piece."""
    return st.integers(low * 100, high * 100).map(lambda steps: steps / 100)


@given(
    st.lists(st.tuples(st.integers(1, 110), hundredths(-5, 45)), min_size=3, max_size=25),
    hundredths(0, 20),
    hundredths(1, 20),
    st.sampled_from(CUTOFFS),
)
def test_the_area_is_exact_for_lines_between_readings(
    steps: list[tuple[int, float]], lower: float, band: float, cutoff: str
) -> None:
    """Against scipy's quadrature piece by piece, split at every crossing; any spacing, gaps under 2 h."""
    minutes = np.cumsum([step for step, _ in steps])
    assume(minutes[-1] < 1440)
    start = at_s(2026, 5, 4)
    times = start + np.concatenate([[0.0], minutes * 60.0])
    temps = np.array([steps[0][1], *(temp for _, temp in steps)])
    upper = lower + band
    expected = 0.0
    for (t0, a), (t1, b) in zip(
        zip(times, temps, strict=True), zip(times[1:], temps[1:], strict=True), strict=False
    ):
        cuts = sorted((c - a) / (b - a) for c in (lower, upper) if min(a, b) < c < max(a, b))
        for x0, x1 in zip([0.0, *cuts], [*cuts, 1.0], strict=True):
            area, _ = quad(lambda x, a=a, b=b: heat_rate(a + (b - a) * x, lower, upper, cutoff), x0, x1)
            expected += area * (t1 - t0)
    expected /= times[-1] - times[0]  # the known part's rate stands for the whole day
    day = daily_degree_days(
        times, temps, UTC_ZONE, lower, upper, cutoff=cutoff, least_coverage=0.0, longest_gap_s=7200.0
    )
    assert day["degree_days"].iloc[0] == pytest.approx(expected, abs=1e-6)


def bondville() -> tuple[list[datetime], np.ndarray, np.ndarray]:
    stamps, temps = [], []
    with shared_file("field_bondville_1998.csv").open(encoding="utf-8", newline="") as lines:
        rows = csv.reader(lines)
        header = next(rows)
        when = header.index("time_lst")
        soil = next(i for i, name in enumerate(header) if "soil" in name.lower() and "2" in name)
        for row in rows:
            stamps.append(datetime.fromisoformat(row[when]))
            temps.append(float(row[soil]))
    temp_c = np.array(temps)
    times = np.array([(s + timedelta(hours=6)).replace(tzinfo=UTC).timestamp() for s in stamps])
    return stamps, times, np.where(temp_c <= -6999.0, np.nan, temp_c)


@pytest.mark.data
def test_a_year_of_field_soil_equals_scipys_numerical_integration() -> None:
    """Bondville 1998, soil at 2 cm every half hour, base 5 °C.

    scipy's trapezoid on the same line drawn every 10 s: its error where the line crosses the base is at most
    rate·10 s per crossing, far under the 0.001 °C·days allowed.
    """
    _, times, temps = bondville()
    known = np.isfinite(temps)
    found = daily_degree_days(times, temps, ZoneInfo("Etc/GMT+6"), 5.0, **POLICY)
    compared = 0
    for day, row in found.iterrows():
        assert isinstance(day, date)
        start = datetime(day.year, day.month, day.day, 6, tzinfo=UTC).timestamp()
        if row["coverage"] < 1.0:
            continue
        fine = np.linspace(start, start + 86_400.0, 8641)
        line = np.interp(fine, times[known], temps[known])
        expected = trapezoid(np.maximum(line - 5.0, 0.0), fine) / 86_400.0
        assert row["degree_days"] == pytest.approx(expected, abs=0.001), day
        compared += 1
    assert compared >= 355
    assert found["degree_days"].sum() > 2000


@pytest.mark.data
def test_days_of_field_soil_under_the_coverage_policy_are_blank_with_a_reason() -> None:
    _, times, temps = bondville()
    found = daily_degree_days(
        times, temps, ZoneInfo("Etc/GMT+6"), 5.0, least_coverage=1.0, longest_gap_s=1800
    )
    blank = found[found["degree_days"].isna()]
    assert (found["coverage"] < 1.0).sum() == len(blank) > 0
    assert (blank["reason"] != "").all()
    assert (found.loc[found["degree_days"].notna(), "reason"] == "").all()


def test_days_are_the_gardens_own_and_a_short_one_has_less_heat() -> None:
    """Lisbon, 29 March 2026: 23 hours; 25 October: 25 hours (EU directive 2000/84/EC)."""
    for day, hours in ((date(2026, 3, 29), 23), (date(2026, 10, 25), 25), (date(2026, 6, 1), 24)):
        noon = datetime(day.year, day.month, day.day, 12, tzinfo=UTC).timestamp()
        times = np.arange(noon - 86_400.0, noon + 86_400.0, 600.0)
        found = daily_degree_days(times, np.full(times.size, 16.0), LISBON, 10.0, **POLICY)
        assert found["degree_days"].loc[day] == pytest.approx(6.0 * hours / 24)
        assert found["coverage"].loc[day] == 1.0


def test_a_day_under_the_policy_is_blank_and_says_why() -> None:
    times = at_s(2026, 3, 1) + np.arange(0.0, 86_400.0 / 2, 600.0)
    found = daily_degree_days(
        times, np.full(times.size, 20.0), UTC_ZONE, 10.0, last_day=date(2026, 3, 2), **POLICY
    )
    first, second = found.iloc[0], found.iloc[1]
    assert all(math.isnan(first[name]) for name in ("degree_days", "min_c", "mean_c", "max_c"))
    assert first["reason"] == "readings cover 49 % of the day; 80 % are needed"
    assert first["coverage"] == pytest.approx((times[-1] - times[0]) / 86_400.0)
    assert second["reason"] == "no readings"


def test_coverage_is_the_one_of_the_coverage_rule() -> None:
    numbers = np.random.default_rng(3)
    times = at_s(2026, 3, 1) + np.cumsum(numbers.uniform(60, 9000, 60))
    found = daily_degree_days(times, numbers.normal(15, 5, 60), UTC_ZONE, 10.0, **POLICY)
    for day, value in found["coverage"].items():
        start = at_s(2026, 3, day.day)  # type: ignore[attr-defined]
        assert value == pytest.approx(coverage(times, start, start + 86_400.0, 7200.0))


def test_missing_readings_and_disorder_change_nothing_that_is_known() -> None:
    times = at_s(2026, 3, 1) + np.arange(0.0, 86_401.0, 600.0)
    temps = 15.0 + 5.0 * np.sin(times / 9000.0)
    whole = daily_degree_days(times, temps, UTC_ZONE, 12.0, last_day=date(2026, 3, 1), **POLICY)
    shuffled = np.random.default_rng(5).permutation(times.size)
    with_nan = np.append(times, times[10] + 60.0), np.append(temps, np.nan)
    for t, v in ((times[shuffled], temps[shuffled]), with_nan):
        again = daily_degree_days(t, v, UTC_ZONE, 12.0, last_day=date(2026, 3, 1), **POLICY)
        pd.testing.assert_frame_equal(whole, again)


@pytest.mark.parametrize("method", METHODS)
def test_the_max_min_methods_work_on_the_days_own_extremes(method: str) -> None:
    times = at_s(2026, 3, 1) + np.arange(0.0, 3 * 86_400.0 + 1, 600.0)
    day_number = (times - times[0]) // 86_400.0
    temps = 12.0 + 2.0 * day_number - 8.0 * np.cos(2.0 * np.pi * times / 86_400.0)
    found = daily_degree_days(
        times, temps, UTC_ZONE, 10.0, method=method, last_day=date(2026, 3, 3), **POLICY
    )
    after = np.append(found["min_c"].to_numpy()[1:], np.nan)
    expected = degree_days(found["min_c"], found["max_c"], 10.0, method=method, next_min_c=after)
    np.testing.assert_allclose(found["degree_days"], expected)
    assert found["min_c"].iloc[0] == pytest.approx(4.0)


def test_no_readings_at_all_give_an_empty_table_or_the_days_asked_for() -> None:
    assert daily_degree_days([], [], UTC_ZONE, 10.0, **POLICY).empty
    days = {"first_day": date(2026, 3, 1), "last_day": date(2026, 3, 3)}
    asked = daily_degree_days([], [], UTC_ZONE, 10.0, **days, **POLICY)  # type: ignore[arg-type]
    assert list(asked["reason"]) == ["no readings"] * 3


def test_an_unknown_method_is_refused_with_the_nearest() -> None:
    with pytest.raises(UsageError, match="did you mean “integral”"):
        daily_degree_days([0.0, 1.0], [1.0, 2.0], UTC_ZONE, 5.0, method="integrall", **POLICY)
