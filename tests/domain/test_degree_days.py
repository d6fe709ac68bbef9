"""Degree-days from a daily minimum and maximum, against published days and numerical integration."""

import csv
import math
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st
from scipy.integrate import quad

from tests.shared_data import reference_file
from traywarden.domain.degree_days import CUTOFFS, METHODS, degree_days
from traywarden.errors import UsageError

METHOD_OF = {
    "average": "average",
    "substitution": "clipped average",
    "sng_sine": "single sine",
    "dbl_sine": "double sine",
    "sng_tri": "single triangle",
    "dbl_tri": "double triangle",
    "sngsine": "single sine",
    "dblsine": "double sine",
    "sngtri": "single triangle",
    "dbltri": "double triangle",
}
CUTOFF_OF = {"none": "none", "horiz": "horizontal", "intrmd": "intermediate", "vert": "vertical"}
COLUMNS = [
    f"{m}_{c}" for m in ("sngsine", "dblsine", "sngtri", "dbltri") for c in ("horiz", "vert", "intrmd")
]


def test_every_published_single_day() -> None:
    """To the digits printed. The formulas are unit-free, so °F days are computed in °F.

    Rows marked `agrees` = no would be faults of the package they come from (single sine 5 for 35/40 °C
    among them), not of the definition, and are left out.
    """
    checked = 0
    with reference_file("degree_days_examples.csv").open(encoding="utf-8", newline="") as lines:
        for row in csv.DictReader(lines):
            if row["agrees"] != "yes":
                continue
            stated = row["stated"]
            found = degree_days(
                float(row["tmin"]),
                float(row["tmax"]),
                float(row["lower"]),
                float(row["upper"]) if row["upper"] else None,
                method=METHOD_OF[row["method"]],
                cutoff=CUTOFF_OF[row["cutoff"]],
                next_min_c=float(row["tmin_next"]) if row["tmin_next"] else None,
            )
            tolerance = 0.5 * 10.0 ** -len(stated.partition(".")[2]) + 1e-9
            assert float(found) == pytest.approx(float(stated), abs=tolerance), row
            checked += 1
    assert checked >= 40


@pytest.mark.parametrize("column", COLUMNS)
def test_the_uc_ipm_year(column: str) -> None:
    """366 days of UC IPM results, Esparto 2020, 50/70 °F.

    Printed to 0.01, so ±0.005, and 0.00005 for UC IPM's own rounding on the way: four cells (8.72 for
    8.714977 among them) miss half a digit by less than that. Cells that the reference itself names as
    anomalous are left out.
    """
    method, _, cutoff = column.partition("_")
    with reference_file("degree_days_ucipm_reference.csv").open(encoding="utf-8", newline="") as lines:
        rows = list(csv.DictReader(lines))
    assert len(rows) == 366
    found = degree_days(
        np.array([float(row["tmin"]) for row in rows]),
        np.array([float(row["tmax"]) for row in rows]),
        50.0,
        70.0,
        method=METHOD_OF[method],
        cutoff=CUTOFF_OF[cutoff],
        next_min_c=np.array([float(row["tmin_next"]) for row in rows]),
    )
    stated = np.array([float(row[column]) for row in rows])
    sound = np.array([column not in row["anomalous_columns"] for row in rows])
    assert sound.sum() >= 363
    np.testing.assert_allclose(found[sound], stated[sound], atol=0.00505, rtol=0)


@pytest.mark.parametrize(
    ("low", "high", "after", "method", "stated"),
    [
        # TrenchR documentation and tests (commit ca58d440), lower 12, upper 33 °C, horizontal.
        (7, 14, None, "single sine", 0.47),
        (7, 14, None, "single triangle", 0.29),
        (7, 20, 7, "double sine", 2.87),
        (7, 20, 7, "double triangle", 2.46),
        (13, 40, None, "single sine", 12.94),
        (13, 40, None, "single triangle", 13.59),
        (7, 40, None, "single sine", 10.94),
        (7, 40, None, "single triangle", 11.14),
        (35, 40, None, "single triangle", 21.0),
        # UC IPM results for OJAI.C, January 2016, in the same test data.
        (7.8, 19.4, 4.4, "single sine", 2.72),
        (7.8, 19.4, 4.4, "single triangle", 2.36),
        (7.8, 19.4, 4.4, "double sine", 2.53),
        (7.8, 19.4, 4.4, "double triangle", 2.09),
    ],
)
def test_celsius_examples(low: float, high: float, after: float | None, method: str, stated: float) -> None:
    """Printed to 0.01."""
    found = degree_days(low, high, 12, 33, method=method, next_min_c=after)
    assert float(found) == pytest.approx(stated, abs=0.005 + 1e-9)


def rate(temp: float, lower: float, upper: float, cutoff: str) -> float:
    """What a cutoff means at one instant (Roltsch et al. 1999, in words in the reference notes)."""
    if temp <= lower:
        return 0.0
    if cutoff == "none" or temp <= upper:
        return temp - lower
    return {
        "horizontal": upper - lower,
        "intermediate": (upper - lower) - (temp - upper),
        "vertical": 0.0,
    }[cutoff]


temperatures = st.floats(-20, 50).map(lambda x: round(x, 3))


@given(
    temperatures,
    temperatures,
    temperatures,
    temperatures,
    st.sampled_from(CUTOFFS),
    st.sampled_from(["sine", "triangle"]),
)
def test_closed_forms_equal_the_integral_of_their_own_curve(
    low: float, high: float, lower: float, upper: float, cutoff: str, shape: str
) -> None:
    """scipy's adaptive quadrature over half a period, told where the curve crosses a threshold.

    The curve and the meaning of each cutoff are written here afresh, so a slip in the closed form shows.
    """
    low, high = sorted((low, high))
    lower, upper = sorted((lower, upper))
    assume(upper - lower > 0.01)
    assume(high - low > 0.01)
    middle, half = (low + high) / 2, (high - low) / 2

    def curve(x: float) -> float:
        return middle - half * math.cos(math.pi * x) if shape == "sine" else low + (high - low) * x

    def crossing(threshold: float) -> float:
        part = (middle - threshold) / half
        return math.acos(part) / math.pi if shape == "sine" else (threshold - low) / (high - low)

    breaks = [0.0, *sorted(crossing(t) for t in (lower, upper) if low < t < high), 1.0]
    expected = sum(
        quad(lambda x: rate(curve(x), lower, upper, cutoff), a, b, epsabs=1e-11)[0]
        for a, b in pairwise(breaks)
    )
    found = degree_days(low, high, lower, upper, method=f"single {shape}", cutoff=cutoff)
    # A step at the very edge of an interval (vertical) costs quadrature about 1e-7.
    assert float(found) == pytest.approx(expected, abs=1e-6)


@given(temperatures, temperatures, temperatures, st.sampled_from(METHODS))
def test_fahrenheit_gives_one_point_eight_times_as_much(
    low: float, high: float, lower: float, method: str
) -> None:
    low, high = sorted((low, high))
    in_c = degree_days(low, high, lower, method=method)
    in_f = degree_days(low * 1.8 + 32, high * 1.8 + 32, lower * 1.8 + 32, method=method)
    assert float(in_f) == pytest.approx(1.8 * float(in_c), abs=1e-9)


@given(temperatures, temperatures, temperatures, st.sampled_from(METHODS))
def test_a_warmer_day_never_counts_less(low: float, high: float, lower: float, method: str) -> None:
    low, high = sorted((low, high))
    cool = float(degree_days(low, high, lower, method=method))
    warm = float(degree_days(low + 1, high + 1, lower, method=method))
    assert 0.0 <= cool <= warm + 1e-9


def test_a_double_method_without_a_next_minimum_uses_the_days_own() -> None:
    """UC IPM does so on the last day of a series: 31 December 2020, 38/55 °F, gives 1.19 both ways."""
    alone = degree_days([38.0, 38.0], [55.0, 55.0], 50, 70, method="double sine")
    with_gap = degree_days([38.0, 38.0], [55.0, 55.0], 50, 70, method="double sine", next_min_c=[np.nan, 38])
    np.testing.assert_allclose(alone, 1.19, atol=0.005)
    np.testing.assert_allclose(with_gap, alone)


def test_a_next_night_warmer_than_the_day_still_counts() -> None:
    """Half the day at 10…14 and half rising from 14 to 18: 2 and 6 above a base of 10, the mean is 4."""
    found = degree_days(10, 14, 10, method="double triangle", next_min_c=18)
    assert float(found) == pytest.approx(4.0)


def test_missing_and_impossible_days_are_blank() -> None:
    found = degree_days([math.nan, 5.0, 20.0], [20.0, math.nan, 10.0], 10.0, 30.0)
    assert np.isnan(found).all()
    assert np.isnan(degree_days([math.nan, 20.0], [20.0, 10.0], 10.0, method="average")).all()


@pytest.mark.parametrize(
    ("arguments", "sentence"),
    [
        ({"method": "single sin"}, "did you mean “single sine”"),
        ({"cutoff": "horisontal"}, "did you mean “horizontal”"),
        ({"upper_c": 5.0}, "must lie above the base"),
        ({"method": "average"}, "knows no upper cutoff"),
        ({"method": "clipped average", "cutoff": "vertical"}, "knows no vertical cutoff"),
    ],
)
def test_what_makes_no_sense_is_refused(arguments: dict[str, object], sentence: str) -> None:
    given_: dict[str, object] = {"upper_c": 30.0, **arguments}
    with pytest.raises(UsageError, match=sentence):
        degree_days(5.0, 20.0, 10.0, **given_)  # type: ignore[arg-type]
