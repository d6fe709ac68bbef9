"""The packaged tables about seed, value by value against the published ones."""

import csv
import re

import pytest

from tests.shared_data import reference_file
from traywarden.store.crops import load_crops
from traywarden.store.seed_facts import label_tolerances, load_seed_facts, replicate_ranges

RENAMED = {
    "bean_snap": "Bean, garden",
    "bean_lima": "Bean, lima",
    "corn_sweet": "Corn, sweet",
    "muskmelon": "Melon",
    "chard": "Chard, Swiss",
}


def published(name: str) -> list[dict[str, str]]:
    with reference_file(name).open(encoding="utf-8", newline="") as lines:
        return list(csv.DictReader(lines))


@pytest.mark.data
def test_the_least_germination_is_the_laws_for_every_crop_that_it_names() -> None:
    rows = {row["kind"]: row for row in published("germination_standards_us_cfr.csv")}
    assert len(rows) == 68
    facts, checked = load_seed_facts(), 0
    for key in load_crops():
        row = rows.get(RENAMED.get(key, key.capitalize()))
        if row is None:
            assert key not in facts or facts[key].standard_pct is None
            continue
        found = facts[key]
        assert found.standard_pct == float(row["minimum_germination_percent"])
        assert found.citations[found.standard_source] == row["source"]
        checked += 1
    assert checked == 30


@pytest.mark.data
def test_percentages_of_normal_seedlings_are_the_published_ones_and_keep_their_mark() -> None:
    """A zero that the companion table calls “not tested” is left out; what is blank there is blank here."""
    facts = load_seed_facts()
    rows = published("percent_normal_seedlings.csv")
    assert len(rows) == 24
    for row in rows:
        untested = re.findall(r'0 at ([\d/]+)F is "not tested"', row["note"])
        left_out = set(untested[0].split("/")) if untested else set()
        expected = [
            (float(at[2]), float(text))
            for column, text in row.items()
            if (at := re.fullmatch(r"pct_(\d+)F_(\d+)C", column))
            and text
            and not (text == "0" and at[1] in left_out)
        ]
        found = facts[row["crop"]]
        assert list(found.normal_pct) == expected
        assert found.normal_verified == row["verified"] == "secondary"
        assert found.citations[found.normal_source] == row["source"]


@pytest.mark.data
def test_replicate_tolerances_are_the_published_ones_and_say_which_are_from_memory() -> None:
    rows = published("germination_replicate_tolerance.csv")
    ours = {row.average_pct: row for row in replicate_ranges()}
    assert len(rows) == len(ours) == 49
    for row in rows:
        found = ours[int(row["average_percent_high"])]
        assert found.of_4 == int(row["max_range_4x100"])
        assert found.of_2 == (int(row["max_range_2x100"]) if row["max_range_2x100"] else None)
        assert found.verified == (row["verified"] == "yes")
        assert 101 - found.average_pct == int(row["average_percent_low"])


def test_lettuce_hardly_comes_up_in_a_hot_mix() -> None:
    """12 % at 30 °C against 99 % at its best; half-way to it from 25 °C half-way between."""
    lettuce = load_seed_facts()["lettuce"]
    assert lettuce.normal_share(30.0) == pytest.approx(12 / 99)
    assert lettuce.normal_share(27.5) == pytest.approx((99 + 12) / 2 / 99)
    assert lettuce.normal_share(50.0) is None
    assert load_seed_facts()["dill"].normal_share(20.0) is None


def test_label_tolerances_cover_every_average_once() -> None:
    for percent in range(51, 100):
        assert sum(row.lowest_pct <= percent <= row.highest_pct for row in label_tolerances()) == 1


def test_every_value_has_a_source_with_its_whole_citation() -> None:
    for facts in load_seed_facts().values():
        for value, source in (
            (facts.standard_pct, facts.standard_source),
            (facts.years_kept, facts.years_source),
            (facts.half_life_years, facts.half_life_source),
            (facts.normal_pct or None, facts.normal_source),
        ):
            assert (value is None) == (source == "")
            assert not source or len(facts.citations[source]) > len(source)
