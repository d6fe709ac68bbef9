"""The tables of raising plants that come with the package: transplant ages and planting temperatures."""

from functools import cache

from traywarden.domain.raising import PlantingTemperature, Raising
from traywarden.domain.units import c_from_f
from traywarden.store.crops import packaged_rows


@cache
def load_raising() -> dict[str, tuple[Raising, ...]]:
    """Transplant ages by crop key; of several sources the preferred one first."""
    sources = {row["id"]: row["short"] for row in packaged_rows("sources.csv")}
    found: dict[str, tuple[Raising, ...]] = {}
    for row in packaged_rows("raising.csv"):
        one = Raising(
            float(row["weeks_low"]),
            float(row["weeks_high"]),
            c_from_f(float(row["germination_low_f"])),
            c_from_f(float(row["germination_high_f"])),
            sources[row["source"]],
            row["note"],
        )
        found[row["key"]] = (*found.get(row["key"], ()), one)
    return found


@cache
def load_planting_temperatures() -> dict[str, PlantingTemperature]:
    """The soil temperature realistic for planting, by crop key."""
    sources = {row["id"]: row["short"] for row in packaged_rows("sources.csv")}
    return {
        row["key"]: PlantingTemperature(
            c_from_f(float(row["realistic_f"])), sources[row["source"]], row["note"]
        )
        for row in packaged_rows("planting_realistic.csv")
    }
