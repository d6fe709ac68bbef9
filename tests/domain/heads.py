"""Heads made up for tests, and heads read from the real records."""

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike

from tests.shared_data import shared_file
from traywarden.domain.readings import BOOT_IMPORTED, VALUE_COLUMNS
from traywarden.domain.series import FloatArray, HeadColumns


def head_columns(
    time_ms: ArrayLike, *, received_ms: ArrayLike = 0, boot: int = 1, **values: ArrayLike
) -> HeadColumns:
    """A head with the value columns given; received when measured unless said otherwise."""
    times = np.asarray(time_ms, np.int64)
    received = np.asarray(received_ms, np.int64)
    columns = {
        name: np.asarray(values.get(name, np.full(times.shape, np.nan)), float) for name in VALUE_COLUMNS
    }
    return HeadColumns(
        "bench/1",
        times,
        times if received.ndim == 0 else received,
        np.full(times.shape, boot, np.int64),
        np.arange(times.size, dtype=np.int64),
        columns,
    )


def _number(column: "pd.Series[float]") -> FloatArray:
    return pd.to_numeric(column, errors="coerce").to_numpy(float, copy=True)


def bondville(soil: str = "soil_temp_4cm_c", moisture: str = "soil_moisture_5cm_m3_m3") -> HeadColumns:
    """One year from the Bondville field; its −6999 is “missing”; rain turned into mm."""
    table = pd.read_csv(shared_file("field_bondville_1998.csv"), na_values=["-6999", "-6999.0"]).mask(
        lambda t: t.apply(lambda c: pd.to_numeric(c, errors="coerce") < -6000)
    )
    hour6_ms = 6 * 3_600_000  # local standard time is UTC−6
    stamps = pd.to_datetime(table["time_lst"]).to_numpy("datetime64[ms]").astype(np.int64) + hour6_ms
    return head_columns(
        stamps,
        boot=BOOT_IMPORTED,
        soil_temp_c=_number(table[soil]),
        moisture_m3_m3=_number(table[moisture]),
        air_temp_c=_number(table["air_temp_c"]),
        rh_pct=_number(table["rh_pct"]),
        rain_mm=_number(table["rain_in"]) * 25.4,
    )


def ford_dry_lake() -> HeadColumns:
    """One year from Ford Dry Lake, 2 inch sensors."""
    table = pd.read_csv(shared_file("field_ford_dry_lake_2015.csv"))
    stamps = pd.to_datetime(table["Date"] + " " + table["Time"]).to_numpy("datetime64[ms]").astype(np.int64)
    return head_columns(
        stamps + 8 * 3_600_000,
        boot=BOOT_IMPORTED,
        soil_temp_c=_number(table["STO.I_2"]),
        moisture_m3_m3=_number(table["SMS.I_2"]) / 100.0,
        air_temp_c=_number(table["TOBS.I"]),
        rh_pct=_number(table["RHUM.I"]),
        rain_mm=_number(table["PRCP.H"]) * 25.4,
        battery_v=_number(table["BATT.I"]),
    )


def dry_season(plot: int) -> HeadColumns:
    """One plot of the rainless June; NEON's own failed values are left in."""
    soil = pd.read_csv(shared_file("dry_season_soil_temp_2022_06.csv")).query("plot == @plot")
    water = pd.read_csv(shared_file("dry_season_soil_moisture_2022_06.csv")).query("plot == @plot")
    both = soil.merge(water, on="start_utc", how="outer").sort_values("start_utc")
    stamps = pd.to_datetime(both["start_utc"], utc=True).dt.tz_localize(None)
    return head_columns(
        stamps.to_numpy("datetime64[ms]").astype(np.int64),
        boot=BOOT_IMPORTED,
        soil_temp_c=_number(both["soil_temp_c"]),
        moisture_m3_m3=_number(both["vwc_m3_m3"]),
    )


def glasshouse_inside() -> HeadColumns:
    """Six weeks of 5-minute air from inside the glasshouse."""
    return _glasshouse("glasshouse_inside_2022.csv", "Tair", "Rhair")


def glasshouse_outside() -> HeadColumns:
    """The same weeks from the mast outside; 155 values are missing."""
    return _glasshouse("glasshouse_outside_2022.csv", "Tout", "Rhout")


def _glasshouse(name: str, air: str, humidity: str) -> HeadColumns:
    table = pd.read_csv(shared_file(name))
    stamps = (
        pd.to_datetime(table["Date"], format="%m/%d/%Y %H:%M").to_numpy("datetime64[ms]").astype(np.int64)
    )
    order = np.argsort(stamps, kind="stable")
    return head_columns(
        stamps[order],
        boot=BOOT_IMPORTED,
        air_temp_c=_number(table[air])[order],
        rh_pct=_number(table[humidity])[order],
    )
