"""Development rates against the published days to emergence and published heat sums."""

import csv

import numpy as np
import pytest

from tests.figures import emergence as figures
from tests.shared_data import reference_file
from traywarden.domain.crops import Crop, HeatSum
from traywarden.domain.development import (
    BEYOND_LOG_SD,
    OTHERS_DAYS,
    OTHERS_LOG_SD,
    SHAPE_LOG_SD,
    TABLE_LOG_SD,
    Basis,
    between_tested,
    curve_for,
)
from traywarden.domain.heat_sums import fitted_heat_sum
from traywarden.domain.lateness import INHIBITED_ABOVE_C
from traywarden.store.crops import load_crops, load_heat_sums, load_seed

pytestmark = pytest.mark.filterwarnings("error")


@pytest.mark.data
def test_at_every_printed_temperature_within_its_limits_the_printed_days_come_back() -> None:
    """Exact to a part in a thousand, the width of the grid; 24 crops of Harrington & Minges 1954."""
    checked = 0
    for key, (temps, days) in figures.verified_tables().items():
        curve = curve_for(load_crops()[key])
        inside = curve.advances(temps)
        rates = curve.rate_per_d(temps)
        np.testing.assert_allclose(1.0 / rates[inside], days[inside], rtol=1e-3, err_msg=key)
        assert (rates[~inside] == 0.0).all()
        checked += int(inside.sum())
    assert checked >= 125


@pytest.mark.data
def test_a_temperature_left_out_is_missed_by_less_than_fifteen_percent_in_the_median() -> None:
    """Demanded: 15 %. Reached: 6.8 %. And the error the bands are made of is the one measured."""
    off = figures.misses(figures.leave_one_out())
    assert off.size == 87
    assert figures.median_pct(off) < 7.5
    assert figures.rms(off) == pytest.approx(TABLE_LOG_SD, abs=0.005)


@pytest.mark.data
@pytest.mark.parametrize("name", list(figures.OTHER_WAYS))
def test_no_simpler_way_between_the_temperatures_misses_less(name: str) -> None:
    simpler = figures.misses(figures.leave_one_out(figures.OTHER_WAYS[name]))
    assert figures.rms(figures.misses(figures.leave_one_out())) < figures.rms(simpler)


@pytest.mark.data
def test_what_is_added_beyond_the_tested_temperatures_and_for_borrowed_shapes_was_measured() -> None:
    cold, warm = figures.beyond_tested()
    assert 0.3 < figures.rms(cold) < 0.5
    assert 0.3 < figures.rms(warm) < 0.5
    assert pytest.approx((figures.rms(cold) + figures.rms(warm)) / 2, abs=0.03) == BEYOND_LOG_SD
    shape = [figures.rms(off) for off in figures.borrowed_shape().values()]
    assert pytest.approx(np.mean(shape), abs=0.05) == SHAPE_LOG_SD
    logs = np.log(figures.all_days())
    assert pytest.approx(np.exp(logs.mean()), abs=0.1) == OTHERS_DAYS
    assert pytest.approx(logs.std(), abs=0.01) == OTHERS_LOG_SD


@pytest.mark.data
def test_the_straight_lines_are_those_of_the_reference_table() -> None:
    """Printed to two decimals of °C and one of °C·days."""
    with reference_file("thermal_time_from_days_table.csv").open(encoding="utf-8", newline="") as lines:
        rows = list(csv.DictReader(lines))
    fitted = 0
    for row in rows:
        found = fitted_heat_sum(load_crops()[row["crop"]])
        if not row["base_temp_c"]:
            assert found is None
            continue
        assert found is not None
        assert found.base_c == pytest.approx(float(row["base_temp_c"]), abs=0.0051)
        assert found.sum_c_days == pytest.approx(float(row["thermal_time_c_days"]), abs=0.051)
        fitted += 1
    assert fitted == 21


def test_between_two_temperatures_the_rate_never_leaves_the_two_printed_ones() -> None:
    for crop in load_crops().values():
        cells = [(t, d) for t, d in crop.days_to_emergence if d is not None]
        if len(cells) < 2:
            continue
        temps, days = (np.array(column) for column in zip(*cells, strict=True))
        for i in range(temps.size - 1):
            rates = between_tested(temps, days, np.linspace(temps[i], temps[i + 1], 101))
            low, high = sorted((1.0 / days[i], 1.0 / days[i + 1]))
            assert rates.min() >= low - 1e-12, crop.key
            assert rates.max() <= high + 1e-12, crop.key


def test_outside_the_crops_limits_nothing_advances() -> None:
    for crop in load_crops().values():
        curve = curve_for(crop)
        if crop.min_c is not None:
            assert curve.rate_per_d(np.array([crop.min_c - 1.01]))[0] == 0.0, crop.key
        if crop.max_c is not None:
            assert curve.rate_per_d(np.array([crop.max_c + 1.01]))[0] == 0.0, crop.key
        assert np.isnan(curve.rate_per_d(np.array([np.nan]))[0])


def test_a_printed_day_half_a_degree_outside_a_limit_counts_as_inside() -> None:
    """Pepper: 60 °F is the minimum, and at 59 °F the days table prints 25 days."""
    pepper = curve_for(load_crops()["pepper"])
    assert 1.0 / pepper.rate_per_d(np.array([15.0]))[0] == pytest.approx(25.0, rel=1e-3)
    assert pepper.rate_per_d(np.array([14.9]))[0] == 0.0


def test_celery_stops_where_the_days_table_saw_none_come_up_though_its_limit_lies_higher() -> None:
    celery = curve_for(load_crops()["celery"])
    at = celery.rate_per_d(np.array([20.0, 22.5, 25.1]))
    assert 1.0 / at[0] == pytest.approx(7.0, rel=1e-3)
    assert at[1] == pytest.approx(at[0] / 2, rel=1e-6)
    assert at[2] == 0.0


@pytest.mark.data
def test_flowers_and_herbs_have_their_printed_days_in_the_middle_of_the_printed_range() -> None:
    """Iowa State University 2023; the printed range of days is the middle 80 % of the belief."""
    with reference_file("flowers_herbs_germination.csv").open(encoding="utf-8", newline="") as lines:
        rows = [row for row in csv.DictReader(lines) if row["days_low"]]
    by_name = {crop.name: crop for crop in load_crops().values()}
    checked = 0
    for row in rows:
        crop = by_name.get(row["crop"])
        if crop is None or crop.days_in_range is None:
            continue
        curve = curve_for(crop)
        low, high = float(row["days_low"]), float(row["days_high"])
        middle_c = (float(row["germ_low_c"]) + float(row["germ_high_c"])) / 2
        days = 1.0 / curve.rate_per_d(np.array([middle_c]))[0]
        assert days == pytest.approx((low * high) ** 0.5, rel=1e-3), crop.name
        assert curve.basis is Basis.RANGE
        assert np.exp(np.log(days) + 1.2816 * curve.log_sd) >= high
        assert curve.log_sd >= TABLE_LOG_SD
        checked += 1
    assert checked >= 25


def test_the_less_is_published_the_wider_the_band_and_it_says_so() -> None:
    crops = load_crops()
    tomato, ageratum, basil = (curve_for(crops[key]) for key in ("tomato", "ageratum", "basil"))
    assert tomato.log_sd < ageratum.log_sd < basil.log_sd
    assert "only 7 to 10 days" in ageratum.says
    assert "no days to emergence are published" in basil.says
    bare = Crop("cress", "Cress", min_c=2.0)
    by_sum = curve_for(bare, HeatSum(1.0, 64.0, "a seed house"))
    assert by_sum.basis is Basis.SUM
    assert 1.0 / by_sum.rate_per_d(np.array([17.0]))[0] == pytest.approx(4.0)


def test_heat_sums_seen_in_a_source() -> None:
    """Brewster, equations 4.6–4.7 after Harrington 1962: 80 °C·days above 2.5 °C, 4 days at 22.5 °C and 16 at
    7.5 °C on moist paper. Seedlings of the days table come a little later, as they have soil to cross."""
    onion = curve_for(Crop("x", "x"), HeatSum(2.5, 80.0, "Brewster"))
    np.testing.assert_allclose(1.0 / onion.rate_per_d(np.array([22.5, 7.5])), [4.0, 16.0])
    table = curve_for(load_crops()["onion"])
    for at_c in (10.0, 15.0, 20.0, 22.5):
        paper, soil = (1.0 / c.rate_per_d(np.array([at_c]))[0] for c in (onion, table))
        assert paper < soil < 1.35 * paper
    assert load_heat_sums()["cucumber"].base_c == pytest.approx((54 - 32) / 1.8, abs=1e-4)
    assert load_heat_sums()["cucumber"].sum_c_days == pytest.approx(194 / 1.8, abs=1e-4)


@pytest.mark.data
def test_published_heat_sums_of_others_differ_up_to_three_fold_from_the_table() -> None:
    """Not a pass mark: what the docs say of how far publications differ is what is measured here."""
    ratios = [own / told for what, told, own, _ in figures.published_sums() if "germination" not in what]
    assert min(ratios) == pytest.approx(0.33, abs=0.02)
    assert max(ratios) == pytest.approx(1.36, abs=0.02)


def test_lettuce_in_cell_trays_came_up_on_the_day_the_table_prints() -> None:
    """Fourteen cultivars in cell trays at 20 °C began to emerge on day three, 77 to 98 % were up a day later;
    at 30 °C they began on day two (differences in inhibition of emergence by high temperature between lettuce
    cultivars, abstract). The table: 3 days at 20 °C, 3 at 30 °C."""
    lettuce = curve_for(load_crops()["lettuce"])
    assert 3.0 <= 1.0 / lettuce.rate_per_d(np.array([20.0]))[0] <= 4.0
    assert 2.0 <= 1.0 / lettuce.rate_per_d(np.array([30.0]))[0] <= 3.01


@pytest.mark.data
def test_where_heat_puts_seed_to_sleep_stands_as_printed() -> None:
    """> 25 °C for lettuce, celery and pansy (University of Florida IFAS)."""
    page = reference_file("heat_and_frost.md").read_text(encoding="utf-8")
    row = next(line for line in page.splitlines() if "thermodormancy in" in line)
    assert "> 25 °C" in row
    for crop in INHIBITED_ABOVE_C:
        assert crop in row
        assert crop in load_crops()
    assert set(INHIBITED_ABOVE_C.values()) == {25.0}


@pytest.mark.data
def test_seed_standards_are_the_printed_ones() -> None:
    with reference_file("germination_standards_us_cfr.csv").open(encoding="utf-8", newline="") as lines:
        printed = {row["kind"]: row["minimum_germination_percent"] for row in csv.DictReader(lines)}
    for kind in ("Tomato", "Lettuce", "Pepper", "Onion", "Carrot", "Cabbage", "Celery", "Spinach", "Pea"):
        assert load_seed()[kind.lower()].standard_pct == float(printed[kind])
    assert load_seed()["muskmelon"].standard_pct == float(printed["Melon"])


@pytest.mark.data
def test_on_the_gradient_plate_the_rate_sum_holds_in_the_mild_and_fails_in_great_heat() -> None:
    """Ten seeds a cell: the half-time of a cell is itself sure to about a tenth. The curve is drawn through
    constant cells only; sixteen alternating cells are foretold. Days above 40 °C with no germination are not
    foreseen by any rate sum whose night is mild: said in the docs."""
    found = figures.alternating()
    told = [(c, d) for c, d in found if not np.isnan(c.half_d) and np.isfinite(d)]
    off = np.array([np.log(d / c.half_d) for c, d in told])
    mild = np.array([np.log(d / c.half_d) for c, d in told if c.day_c <= 32])
    assert len(told) == 16
    assert figures.median_pct(off) < 30
    assert figures.median_pct(mild) < 22
    failed = [c for c, d in found if c.germinated == 0 and d < 42]
    assert len(failed) == 7
    assert sum(c.day_c > 41 for c in failed) == 6
