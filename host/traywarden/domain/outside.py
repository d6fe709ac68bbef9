"""Weather of the open air that others measured or foretold: a forecast by the hour, past years by the day."""

from dataclasses import dataclass
from datetime import date, timedelta

from traywarden.domain.series import FloatArray, IntArray

EPOCH = date(1970, 1, 1)


@dataclass(frozen=True, slots=True, eq=False)
class Forecast:
    """One forecast as it was issued; every array has one value for each hour, NaN where it says nothing.

    `time_s` is the start of each hour [s since 1970], ascending, maybe with gaps.
    """

    source: str
    issued_s: float
    time_s: FloatArray
    air_temp_c: FloatArray
    rh_pct: FloatArray
    rain_mm: FloatArray
    wind_m_s: FloatArray

    @property
    def end_s(self) -> float:
        """The end of its last hour [s]; beyond it the forecast is history."""
        return float(self.time_s[-1]) + 3600.0 if self.time_s.size else self.issued_s


@dataclass(frozen=True, slots=True, eq=False)
class WeatherDays:
    """Days of past weather from one source; `day` counts from 1970-01-01, ascending; NaN where not known."""

    source: str
    day: IntArray
    air_min_c: FloatArray
    air_max_c: FloatArray
    rain_mm: FloatArray
    wind_m_s: FloatArray

    def date(self, position: int) -> date:
        return EPOCH + timedelta(days=int(self.day[position]))
