"""The nights of a span, to be shaded in charts."""

from dataclasses import dataclass
from datetime import datetime

import numpy as np

from traywarden.domain.daylight import is_night, night_words
from traywarden.services.position import position_of
from traywarden.services.questions.ground import Ground

STEP_S = 300.0


@dataclass(frozen=True, slots=True)
class Night:
    start: datetime
    end: datetime


def nights_between(ground: Ground, start_ms: int, end_ms: int) -> tuple[tuple[Night, ...], str]:
    """Every night in a span, to five minutes, cut to it; and in words how night was told from day.

    From where the garden lies, or from what stands in for that (`position_of`).
    """
    position = position_of(ground)
    where = position.latitude_deg, position.longitude_deg
    time_s = np.arange(start_ms / 1000, end_ms / 1000, STEP_S)
    dark = np.concatenate(([False], is_night(time_s, ground.zone, *where), [False]))
    edges = np.flatnonzero(dark[1:] != dark[:-1])
    times_ms = np.append(time_s, end_ms / 1000) * 1000
    nights = (
        Night(ground.at(times_ms[first]), ground.at(times_ms[last]))
        for first, last in zip(edges[::2].tolist(), edges[1::2].tolist(), strict=True)
    )
    return tuple(nights), night_words(*where)
