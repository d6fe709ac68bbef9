"""Tonight's low and tomorrow's high on recorded fields: how often the interval held, how far it was off."""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tests.figures import hours
from traywarden.domain.lows_highs import walk
from traywarden.domain.nights import Hours, past_turns
from traywarden.domain.psychrometrics import dew_point_c

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Reached:
    """Out of sample over a year, from the eleventh day on; `ratio`: error against “same as last time”."""

    held: float
    width_c: float
    error_c: float
    plain_error_c: float
    plain_80_c: float
    days: int

    @property
    def ratio(self) -> float:
        return self.error_c / self.plain_error_c


def reached(
    field: hours.Field, temp_c: Floats, *, of_night: bool, asked_h: int, days: slice | None = None
) -> Reached:
    dew = dew_point_c(field.air_c, np.maximum(field.rh_pct, 1.0))
    known = Hours(field.time_s[0], temp_c, temp_c, temp_c, dew)
    now_s = field.time_s[0] + ((asked_h - field.hour_of_start) % 24 + 24 * 364) * 3600
    turns = past_turns(known, now_s, field.zone, of_night=of_night, days=363)
    walked = walk(turns, half_width_c=9.0, of_night=of_night)
    judged = walked.calibrated & np.isfinite(turns.truth_c)
    if days is not None:
        chosen = np.zeros(judged.size, dtype=np.bool_)
        chosen[days] = True
        judged &= chosen
    truth = turns.truth_c[judged]
    plain = np.abs(truth - turns.plain_c[judged])
    return Reached(
        float(((walked.low_c[judged] <= truth) & (truth <= walked.high_c[judged])).mean()),
        float((walked.high_c - walked.low_c)[judged].mean()),
        float(np.abs(truth - walked.estimate_c[judged]).mean()),
        float(plain.mean()),
        float(np.quantile(plain, 0.8)),
        int(judged.sum()),
    )


def lines() -> Iterator[str]:
    yield "Tonight's low and tomorrow's high from own days alone, a year, each day from the days before:"
    for field in (hours.bondville(), hours.ford_dry_lake()):
        for what, temp_c in (
            ("air", field.air_c),
            *((f"soil {depth}", soil_c) for depth, soil_c in field.soil_c.items()),
        ):
            for asked_h in (18, 7):
                for name, of_night in (("low", True), ("high", False)):
                    found = reached(field, temp_c, of_night=of_night, asked_h=asked_h)
                    yield (
                        f"  {field.name}, {what}, {name}, asked at {asked_h}:00: held "
                        f"{found.held * 100:.1f} % of {found.days} days, mean width {found.width_c:.1f} °C, "
                        f"mean error {found.error_c:.2f} against {found.plain_error_c:.2f} °C of “same as "
                        f"last time”: ratio {found.ratio:.2f}; 80 % of those within {found.plain_80_c:.1f} °C"
                    )
