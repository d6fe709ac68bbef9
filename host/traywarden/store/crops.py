"""The crop table that comes with the package: read once, looked up by any name a grower would type."""

import csv
import re
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from importlib.resources import files

from traywarden.domain.crops import Crop, HeatSum
from traywarden.errors import StoreError, UnknownNameError

DAYS_COLUMN = re.compile(r"days_at_(\d+)c")
NOT_UP = "NG"


@cache
def load_crops() -> dict[str, Crop]:
    """Every crop by its key, each value with its source."""
    sources = {row["id"]: row for row in packaged_rows("sources.csv")}
    crops = [_crop(row, sources) for row in packaged_rows("crops.csv")]
    return {crop.key: crop for crop in crops}


@dataclass(frozen=True, slots=True)
class SeedOf:
    """What is published of a crop's seed: years it keeps, germination it must have to be sold [%]."""

    life_years: float | None = None
    life_source: str = ""
    standard_pct: float | None = None
    standard_source: str = ""


@cache
def load_heat_sums() -> dict[str, HeatSum]:
    """Published base temperatures and heat sums by crop; citations are in sources.csv."""
    sources = {row["id"]: row["short"] for row in packaged_rows("sources.csv")}
    return {
        row["key"]: HeatSum(float(row["base_c"]), float(row["sum_c_days"]), sources[row["source"]])
        for row in packaged_rows("heat_sums.csv")
    }


@cache
def load_seed() -> dict[str, SeedOf]:
    """What is published of seed, by crop."""
    sources = {row["id"]: row["short"] for row in packaged_rows("sources.csv")} | {"": ""}
    return {
        row["key"]: SeedOf(
            _number(row["life_years"]),
            sources[row["life_source"]],
            _number(row["standard_pct"]),
            sources[row["standard_source"]],
        )
        for row in packaged_rows("seed_lots.csv")
    }


def crop_named(text: str) -> Crop:
    """The crop of that name: case, spaces, underscores, hyphens, word order and plural do not matter.

    Raises UnknownNameError that says which name is near.
    """
    crop = _by_word().get(_words(text))
    if crop is None:
        names = [name for known in load_crops().values() for name in (known.name, *known.also)]
        raise UnknownNameError("crop", text, names)
    return crop


def crop_name(key: str) -> str:
    """What a crop is called; its key where it is not known."""
    crop = load_crops().get(key)
    return crop.name if crop else key


@cache
def _by_word() -> dict[frozenset[str], Crop]:
    known: dict[frozenset[str], Crop] = {}
    for crop in load_crops().values():
        for name in crop.also:
            known[_words(name)] = crop
    for crop in load_crops().values():  # a crop's own name wins over another's nickname
        known[_words(crop.name)] = known[_words(crop.key)] = crop
    return known


def _words(text: str) -> frozenset[str]:
    plain = re.sub(r"['’`]", "", text.casefold())
    return frozenset(_singular(word) for word in re.split(r"[\s_\-]+", plain) if word)


def _singular(word: str) -> str:
    """“peas” → “pea”, “pansies” → “pansy”. Used on both sides, so a wrong stem still meets itself."""
    if word.endswith("ies") and len(word) > 4:
        return word[:-3] + "y"
    if word.endswith(("oes", "shes", "ches", "sses", "xes")):
        return word[:-2]
    if word.endswith("s") and not word.endswith(("ss", "us", "is")):
        return word[:-1]
    return word


def packaged_rows(name: str) -> list[dict[str, str]]:
    """The rows of a table in the crops folder of the package."""
    try:
        text = (files("traywarden") / "crops" / name).read_text(encoding="utf-8")
    except OSError as error:
        raise StoreError(f"The crop table {name} is missing from the program; install it again.") from error
    return list(csv.DictReader(text.splitlines()))


def _crop(row: Mapping[str, str], sources: Mapping[str, Mapping[str, str]]) -> Crop:
    used = {row[column] for column in row if column.endswith("_source") and row[column]}

    def short(column: str) -> str:
        return sources[row[column]]["short"] if row[column] else ""

    return Crop(
        key=row["key"],
        name=row["name"],
        also=tuple(row["also"].split("|")) if row["also"] else (),
        kind=row["kind"],
        min_c=_number(row["min_c"]),
        opt_low_c=_number(row["opt_low_c"]),
        opt_high_c=_number(row["opt_high_c"]),
        max_c=_number(row["max_c"]),
        source=short("limits_source"),
        max_source=short("max_source"),
        days_to_emergence=_days(row),
        days_source=short("days_source"),
        days_verified=not row["days_source"] or sources[row["days_source"]]["verified"] == "yes",
        days_in_range=(float(row["days_low"]), float(row["days_high"])) if row["days_low"] else None,
        base_temp_c=_number(row["base_temp_c"]),
        base_temp_source=short("base_temp_source"),
        light=row["light"],
        light_source=short("light_source"),
        notes=row["notes"],
        citations={sources[name]["short"]: sources[name]["citation"] for name in sorted(used)},
    )


def _days(row: Mapping[str, str]) -> tuple[tuple[float, float | None], ...]:
    found: list[tuple[float, float | None]] = []
    for column, text in row.items():
        if (at := DAYS_COLUMN.fullmatch(column)) and text:
            found.append((float(at[1]), None if text == NOT_UP else float(text)))
    return tuple(found)


def _number(text: str) -> float | None:
    return float(text) if text else None
