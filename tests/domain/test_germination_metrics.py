"""The figures of a batch against the published worked example, to its printed precision."""

import csv
import dataclasses

import numpy as np
import pytest

from tests.shared_data import reference_file
from traywarden.domain.germination_metrics import GerminationMetrics, germination_metrics, reached_d

NEWLY_UP = [0, 0, 0, 0, 4, 17, 10, 7, 1, 0, 1, 0, 0, 0]
SOWN = 50
DAYS = range(1, 15)

TABLE = {  # metric of germination_statistics_examples.csv → our field
    "germination_percent": "germination_pct",
    "first_germination_time": "first_d",
    "last_germination_time": "last_d",
    "time_spread": "spread_d",
    "peak_time": "peak_d",
    "t50_coolbear": "t50_coolbear_d",
    "t50_farooq": "t50_farooq_d",
    "mean_germination_time": "mean_d",
    "var_germination_time": "variance_d2",
    "se_germination_time": "standard_error_d",
    "cv_germination_time": "cv_index",
    "mean_germination_rate": "mean_rate_per_day",
    "coefficient_of_velocity": "velocity_index",
    "rate_reciprocal_t50_coolbear": "t50_coolbear_rate_per_day",
    "rate_reciprocal_t50_farooq": "t50_farooq_rate_per_day",
    "speed_of_germination (Maguire type)": "speed_per_day",
    "accumulated_speed": "accumulated_speed_per_day",
    "corrected_speed": "corrected_speed_per_day",
    "germination_index (n seeds)": "germination_index",
    "germination_index_modified": "modified_germination_index",
    "timson_index": "timson_index",
    "george_index": "george_index",
    "coefficient_of_uniformity (CUG)": "uniformity_index",
    "synchrony_Z": "synchrony_index",
    "uncertainty_U": "uncertainty_bits",
    "mean_germination_percent": "mean_germination_pct",
}
PAGE = {  # the further rows of germination_statistics.md, section 1, as printed there
    "speed_pct_per_day": 12.27784993,
    "emergence_rate_index": 292,
    "modified_emergence_rate_index": 7.3,
    "bilbro_wanjura_index": 5.97014925373134,
    "labouriau_index": 8.3,
    "khan_ungar_index": 47.4285714285714,
    "weighted_germination_pct": 47.4285714285714,
}
# germinationmetrics, tests/testthat/test-GermValue.R: the same counts out of 200 seeds (the peak value and
# Czabator's germination value over the whole test; the file's tolerance is so loose that it was recomputed).
OF_200 = {"peak_value_index": 2.375, "germination_value_index": 3.39285714285714}
OURS = {  # straight lines between counts, like T50: no published value
    "t50_of_sown_d": 6 + (25 - 21) / 10,
    "t10_d": 5.0,
    "t90_d": 7 + (36 - 31) / 7,
}


def example(sown: int = SOWN) -> GerminationMetrics:
    return germination_metrics(DAYS, NEWLY_UP, sown)


def printed(value: float, text: str) -> bool:
    """Whether a value rounds to the digits printed."""
    return float(f"{value:.{len(text.partition('.')[2])}f}") == float(text)


@pytest.mark.data
def test_all_26_metrics_of_the_worked_example_to_their_printed_precision() -> None:
    with reference_file("germination_statistics_examples.csv").open(encoding="utf-8", newline="") as lines:
        rows = [row for row in csv.DictReader(lines) if row["example"] == "germ_example_1"]
    assert {row["metric"] for row in rows} == set(TABLE)
    assert len(rows) == 26
    found = dataclasses.asdict(example())
    for row in rows:
        assert printed(found[TABLE[row["metric"]]], row["stated"]), row["metric"]


@pytest.mark.parametrize("name", PAGE)
def test_the_further_indices_of_the_worked_example(name: str) -> None:
    assert dataclasses.asdict(example())[name] == pytest.approx(PAGE[name], rel=1e-9)


@pytest.mark.parametrize("name", OF_200)
def test_peak_value_and_germination_value_of_the_same_counts_out_of_200(name: str) -> None:
    assert dataclasses.asdict(example(200))[name] == pytest.approx(OF_200[name], rel=1e-12)


def test_every_figure_is_tested_somewhere_here() -> None:
    tested = {*TABLE.values(), *PAGE, *OF_200, *OURS, "counted", "sown"}
    assert tested == {field.name for field in dataclasses.fields(GerminationMetrics)}


@pytest.mark.parametrize("name", OURS)
def test_times_to_other_parts_lie_on_the_same_straight_lines(name: str) -> None:
    assert dataclasses.asdict(example())[name] == pytest.approx(OURS[name])


def test_timson_of_the_first_ten_days_is_the_published_one() -> None:
    assert germination_metrics(range(1, 11), NEWLY_UP[:10], SOWN).timson_index == 344


def test_the_second_data_set() -> None:
    """germination_statistics.md: cumulative 0,2,4,15,25,38,45,50,50,50 of 50 seeds, days 1 to 10."""
    up = [0, 2, 4, 15, 25, 38, 45, 50, 50, 50]
    found = germination_metrics(range(1, 11), np.diff([0, *up]), 50)
    assert found.germination_pct == 100
    assert found.mean_d == pytest.approx(5.42)
    assert found.t50_farooq_d == 5.0
    assert found.t50_coolbear_d == pytest.approx(5.0384615, abs=5e-8)
    assert found.speed_per_day == pytest.approx(10.2083333, abs=5e-8)


def test_counts_at_uneven_steps_give_the_time_between_them() -> None:
    """Half of 30 lies five of twenty up from day 4 to day 8."""
    found = germination_metrics([4.0, 8.0], [10, 20])
    assert found.t50_farooq_d == pytest.approx(5.0)
    assert found.mean_d == pytest.approx((40 + 160) / 30)
    assert found.germination_pct is None
    assert found.timson_index is None


def test_before_the_first_count_none_were_up_at_sowing() -> None:
    assert reached_d(np.array([6.0]), np.array([12.0]), 6.0) == pytest.approx(3.0)


def test_nothing_up_has_no_times_and_is_none_of_those_sown() -> None:
    found = germination_metrics([3.0, 5.0], [0, 0], 20)
    assert (found.counted, found.germination_pct, found.mean_d, found.synchrony_index) == (0, 0.0, None, None)
    assert germination_metrics([3.0], [0]).germination_pct is None


def test_all_at_once_has_no_spread_to_divide_by() -> None:
    found = germination_metrics([3.0, 5.0], [0, 7], 10)
    assert (found.variance_d2, found.uniformity_index, found.synchrony_index) == (0.0, None, 1.0)
    assert found.uncertainty_bits == 0.0
    one = germination_metrics([3.0], [1], 10)
    assert (one.variance_d2, one.synchrony_index) == (None, None)


@pytest.mark.parametrize(
    ("days", "up", "sown"),
    [
        ([1, 1], [1, 1], 5),
        ([0, 1], [1, 1], 5),
        ([1, 2], [1, -1], 5),
        ([1, 2], [4, 2], 5),
        ([1], [1, 2], 5),
        ([], [], 5),
        ([1], [0.5], 5),
    ],
)
def test_counts_that_cannot_be_are_refused(days: list[float], up: list[float], sown: int) -> None:
    with pytest.raises(ValueError, match=r"rise|below 0|cannot come up|is needed"):
        germination_metrics(days, up, sown)
