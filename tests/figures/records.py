"""The recorded series as arrays: times in seconds since 1970 UTC, °C, m³/m³, mm; NaN where missing."""

from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from tests.shared_data import shared_file
from traywarden.domain.places import PlaceClimate

Floats = NDArray[np.float64]
MM_PER_INCH = 25.4


@dataclass(frozen=True, slots=True, eq=False)
class Record:
    """One sensor's record; `local` are the stamps as printed in the file."""

    time_s: Floats
    local: pd.DatetimeIndex
    moisture_m3_m3: Floats
    soil_temp_c: Floats
    rain_mm: Floats


def seconds(stamps: pd.DatetimeIndex, utc_offset_h: float = 0.0) -> Floats:
    return np.asarray((stamps - pd.Timestamp(0)).total_seconds(), dtype=np.float64) - utc_offset_h * 3600


def bondville(soil_temp: str = "soil_temp_2cm_c") -> Record:
    """Soil at 5 cm, Bondville 1998; stamps are local standard time, half hour ending."""
    table = pd.read_csv(shared_file("field_bondville_1998.csv"))
    local = pd.DatetimeIndex(pd.to_datetime(table["time_lst"]))
    missing = table.isin([-6999.0])
    table = table.mask(missing)
    return Record(
        time_s=seconds(local, -6),
        local=local,
        moisture_m3_m3=table["soil_moisture_5cm_m3_m3"].to_numpy(np.float64),
        soil_temp_c=table[soil_temp].to_numpy(np.float64),
        rain_mm=table["rain_in"].to_numpy(np.float64) * MM_PER_INCH,
    )


def ford_dry_lake() -> Record:
    """The 2 inch sensor, Ford Dry Lake 2015; stamps are local standard time."""
    table = pd.read_csv(shared_file("field_ford_dry_lake_2015.csv"))
    local = pd.DatetimeIndex(pd.to_datetime(table["Date"] + " " + table["Time"]))
    return Record(
        time_s=seconds(local, -8),
        local=local,
        moisture_m3_m3=table["SMS.I_2"].to_numpy(np.float64) / 100,
        soil_temp_c=table["STO.I_2"].to_numpy(np.float64),
        rain_mm=table["PRCP.H"].to_numpy(np.float64) * MM_PER_INCH,
    )


def dry_season(*, passed_only: bool) -> dict[int, Record]:
    """Five plots in a rainless month; `passed_only` drops moisture that failed the station's own check."""
    moisture = pd.read_csv(shared_file("dry_season_soil_moisture_2022_06.csv"))
    warmth = pd.read_csv(shared_file("dry_season_soil_temp_2022_06.csv"))
    both = moisture.merge(warmth, on=["plot", "start_utc"], how="left", suffixes=("", "_temp"))
    if passed_only:
        both["vwc_m3_m3"] = both["vwc_m3_m3"].where(both["final_qf"] == 0)
    records = {}
    for plot, part in both.groupby("plot"):
        local = pd.DatetimeIndex(pd.to_datetime(part["start_utc"], utc=True)).tz_localize(None)
        records[int(str(plot))] = Record(
            time_s=seconds(local),
            local=local,
            moisture_m3_m3=part["vwc_m3_m3"].to_numpy(np.float64),
            soil_temp_c=part["soil_temp_c"].to_numpy(np.float64),
            rain_mm=np.zeros(len(part)),
        )
    return records


def glasshouse() -> tuple[PlaceClimate, PlaceClimate]:
    """Air inside and outside of a glasshouse; the stamps carry no zone and are taken as UTC."""
    sides = []
    for name, file, column in (
        ("Inside", "glasshouse_inside_2022.csv", "Tair"),
        ("Outside", "glasshouse_outside_2022.csv", "Tout"),
    ):
        table = pd.read_csv(shared_file(file))
        stamps = pd.DatetimeIndex(pd.to_datetime(table["Date"], format="%m/%d/%Y %H:%M"))
        sides.append(PlaceClimate(name, seconds(stamps), table[column].to_numpy(np.float64)))
    return sides[0], sides[1]
