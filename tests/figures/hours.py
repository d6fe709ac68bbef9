"""The recorded fields by the hour: outside air and soil, with where they lie; NaN where missing."""

from collections.abc import Callable
from dataclasses import dataclass
from zoneinfo import ZoneInfo

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from tests.shared_data import shared_file
from traywarden.domain.lag import LearnedLag, learn_lag

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True, eq=False)
class Field:
    """One year by the hour; `time_s` is the start of each hour [s since 1970 UTC]."""

    name: str
    zone: ZoneInfo
    latitude_deg: float
    longitude_deg: float
    time_s: Floats
    air_c: Floats
    rh_pct: Floats
    soil_c: dict[str, Floats]

    @property
    def hour_of_start(self) -> int:
        """The local hour of the first value."""
        return pd.Timestamp(self.time_s[0], unit="s", tz="UTC").tz_convert(self.zone).hour

    def lag(self, depth: str, taught: slice, half_life_d: float | None = None) -> LearnedLag:
        """How the soil follows the air, learned from those hours."""
        return learn_lag(
            self.time_s[taught],
            self.air_c[taught],
            self.soil_c[depth][taught],
            self.zone,
            self.latitude_deg,
            self.longitude_deg,
            half_life_d=half_life_d,
        )

    def hours(self, first: str, end: str) -> slice:
        """From one day of the field's year to before another, as “05-01”."""
        year = int(pd.Timestamp(self.time_s[len(self.time_s) // 2], unit="s").year)
        zero = [
            pd.Timestamp(f"{year}-{day}").tz_localize(self.zone).timestamp() - self.time_s[0]
            for day in (first, end)
        ]
        return slice(*(round(t / 3600) for t in zero))


Maker = Callable[[], Field]


def bondville() -> Field:
    """Bondville, Illinois, 1998: a maize and soya field; stamps end their half hour, UTC−6."""
    table = pd.read_csv(shared_file("field_bondville_1998.csv"))
    table = table.mask(table.isin([-6999.0]))
    starts = pd.DatetimeIndex(pd.to_datetime(table["time_lst"])) - pd.Timedelta("30min")
    columns = ["air_temp_c", "rh_pct", "soil_temp_2cm_c", "soil_temp_4cm_c"]
    hourly = table[columns].groupby(starts.floor("h")).mean().asfreq("h")
    return _field(
        "Bondville 1998",
        hourly,
        -6,
        (40.01, -88.29),
        {"2 cm": "soil_temp_2cm_c", "4 cm": "soil_temp_4cm_c"},
    )


def ford_dry_lake() -> Field:
    """Ford Dry Lake, California, 2015: bare desert; 2 and 4 inch sensors, UTC−8."""
    table = pd.read_csv(shared_file("field_ford_dry_lake_2015.csv"))
    stamps = pd.DatetimeIndex(pd.to_datetime(table["Date"] + " " + table["Time"]))
    names = {
        "TOBS.I": "air_temp_c",
        "RHUM.I": "rh_pct",
        "STO.I_2": "soil_2",
        "STO.I_4": "soil_4",
    }
    hourly = table[list(names)].rename(columns=names).apply(pd.to_numeric, errors="coerce")
    hourly = hourly.where(hourly > -90).set_axis(stamps).asfreq("h")
    return _field(
        "Ford Dry Lake 2015",
        hourly,
        -8,
        (33.65, -115.1),
        {"2 in": "soil_2", "4 in": "soil_4"},
    )


def _field(
    name: str,
    hourly: pd.DataFrame,
    utc_offset_h: int,
    where: tuple[float, float],
    soils: dict[str, str],
) -> Field:
    stamps = pd.DatetimeIndex(hourly.index)
    time_s = np.asarray((stamps - pd.Timestamp(0)).total_seconds(), dtype=np.float64)

    def column(wanted: str) -> Floats:
        return np.asarray(hourly[wanted].to_numpy(np.float64))

    return Field(
        name,
        ZoneInfo(f"Etc/GMT{-utc_offset_h:+d}"),
        *where,
        time_s - utc_offset_h * 3600,
        column("air_temp_c"),
        np.minimum(column("rh_pct"), 100.0),
        {depth: column(soil) for depth, soil in soils.items()},
    )
