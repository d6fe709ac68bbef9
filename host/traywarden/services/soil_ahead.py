"""The mix of a tray in the coming days: as its own days were, driven by a forecast while one lasts."""

import numpy as np

from traywarden.domain.ensemble import Ensemble
from traywarden.domain.forecast_outlook import continued
from traywarden.domain.garden import Place, Tray
from traywarden.domain.hourly import Hourly, hourly_together
from traywarden.domain.series import FloatArray
from traywarden.domain.temperature_outlook import FEW_DAYS, MOST_DAYS, own_days
from traywarden.domain.units import HOUR_S
from traywarden.errors import ShortOfDataError
from traywarden.services.outside_air import relation
from traywarden.services.questions.ground import DAY_MS, Ground
from traywarden.services.sky import Sky, driven_by, forecast_reaches, sky_of

MEMBERS = 100
_LEVEL_H = 72
"""Hours in which a tray and its place are compared, to tell how much warmer the tray is."""


class SoilAhead:
    """What the trays of a garden may be like from now on; sky and places are looked at once, when needed."""

    def __init__(self, ground: Ground) -> None:
        self._ground = ground
        self._sky: Sky | None = None
        self._places: dict[int, Hourly] = {}

    def of_tray(self, tray: Tray, hours: Hourly, horizon_h: int) -> Ensemble:
        """Ways the mix may go for so many hours, from the tray's hours of late.

        A tray that came to its place less than ten days ago takes the days of other trays there, at its own
        level; where there are too few of those, its own, wherever it stood.

        Raises ShortOfDataError where too few whole days are known, or the last one is not.
        """
        now_s = self._ground.now_ms / 1000
        start_s = float(np.floor(now_s / HOUR_S) * HOUR_S)
        hour_s, soil_c = self._record(tray, hours)
        own = own_days(hour_s, soil_c, start_s, horizon_h, members=MEMBERS)
        if not forecast_reaches(self._ground):
            return own
        sky = self._sky = self._sky or sky_of(self._ground)
        try:
            if sky.outside is None:
                return own
            lag = relation(self._ground, sky.outside, hour_s, soil_c)
        except ShortOfDataError:
            return own
        driven = driven_by(lag, sky, hour_s, soil_c, members=MEMBERS)
        return continued(driven, own).first_hours(horizon_h)

    def _record(self, tray: Tray, hours: Hourly) -> tuple[FloatArray, FloatArray]:
        """Hours that the tray's coming ones may be like [s, °C]."""
        own = (hours.hour_s, hours.soil_temp_c)
        place = self._ground.place_of(tray.tray_id, self._ground.now_ms)
        if place is None:
            return own
        since = hours.hour_s >= self._came_s(tray, place)
        here = (hours.hour_s[since], hours.soil_temp_c[since])
        if np.isfinite(here[1]).sum() >= FEW_DAYS * 24:
            return here
        others = self._of_place(place)
        if np.isfinite(others.soil_temp_c).sum() < FEW_DAYS * 24:
            return own
        return others.hour_s, others.soil_temp_c + _warmer_c(here, others)

    def _came_s(self, tray: Tray, place: Place) -> float:
        now_ms = self._ground.now_ms
        stays = self._ground.facts.trays_in_place(place.place_id, now_ms, now_ms + 1)
        return next((s.start_ms / 1000 for s in stays if s.subject == tray.tray_id), -np.inf)

    def _of_place(self, place: Place) -> Hourly:
        if place.place_id not in self._places:
            start_ms = self._ground.now_ms - MOST_DAYS * DAY_MS
            heads = self._ground.place_hourly(place.place_id, "soil", start_ms, self._ground.now_ms + 1)
            self._places[place.place_id] = hourly_together(heads, place.name)
        return self._places[place.place_id]


def _warmer_c(here: tuple[FloatArray, FloatArray], others: Hourly) -> float:
    """How much warmer a tray was of late than the trays of its place together."""
    _, mine, theirs = np.intersect1d(here[0], others.hour_s, return_indices=True)
    apart = (here[1][mine] - others.soil_temp_c[theirs])[-_LEVEL_H:]
    apart = apart[np.isfinite(apart)]
    return float(apart.mean()) if apart.size else 0.0
