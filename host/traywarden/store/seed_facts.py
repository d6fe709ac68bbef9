"""The tables about seed that come with the package: standards, keeping, tolerances, each with its source."""

import re
from collections.abc import Mapping
from functools import cache

from traywarden.domain.seed_facts import LabelRow, RangeRow, SeedFacts
from traywarden.store.crops import packaged_rows

NORMAL_COLUMN = re.compile(r"normal_at_(\d+)c")


@cache
def load_seed_facts() -> dict[str, SeedFacts]:
    """By the key of the crop."""
    sources = {row["id"]: row for row in packaged_rows("sources.csv")}
    rows: dict[str, dict[str, str]] = {}
    for name in ("seed_lots.csv", "seed_facts.csv"):
        for row in packaged_rows(name):
            rows[row["key"]] = rows.get(row["key"], {}) | row
    return {key: _facts(key, row, sources) for key, row in rows.items()}


def _facts(key: str, row: Mapping[str, str], sources: Mapping[str, Mapping[str, str]]) -> SeedFacts:
    used = {text for column, text in row.items() if column.endswith("_source") and text}

    def short(column: str) -> str:
        return sources[row[column]]["short"] if row.get(column) else ""

    normal = row.get("normal_source")
    return SeedFacts(
        key,
        _number(row.get("standard_pct", "")),
        short("standard_source"),
        _number(row.get("life_years", "")),
        short("life_source"),
        _number(row.get("half_life_years", "")),
        short("half_life_source"),
        tuple(
            (float(at[1]), float(text))
            for column, text in row.items()
            if (at := NORMAL_COLUMN.fullmatch(column)) and text
        ),
        short("normal_source"),
        sources[normal]["verified"] if normal else "",
        {sources[name]["short"]: sources[name]["citation"] for name in sorted(used)},
    )


@cache
def replicate_ranges() -> tuple[RangeRow, ...]:
    sources = {row["id"]: row for row in packaged_rows("sources.csv")}
    return tuple(
        RangeRow(
            int(row["average_pct"]),
            _whole(row["range_of_4"]),
            _whole(row["range_of_2"]),
            sources[row["source"]]["short"],
            sources[row["source"]]["verified"] == "yes",
        )
        for row in packaged_rows("replicate_tolerances.csv")
    )


@cache
def label_tolerances() -> tuple[LabelRow, ...]:
    sources = {row["id"]: row for row in packaged_rows("sources.csv")}
    return tuple(
        LabelRow(
            int(row["lowest_pct"]),
            int(row["highest_pct"]),
            int(row["tolerance_pct"]),
            sources[row["source"]]["short"],
        )
        for row in packaged_rows("label_tolerances.csv")
    )


def _number(text: str) -> float | None:
    return float(text) if text else None


def _whole(text: str) -> int | None:
    return int(text) if text else None
