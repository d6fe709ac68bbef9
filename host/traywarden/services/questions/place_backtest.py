"""How tonight's low and tomorrow's high would have done: every evening on record, from the days before it."""

from dataclasses import dataclass

import numpy as np

from traywarden.domain.days import day_start_ms, local_date
from traywarden.domain.lows_highs import DEFAULT_HIGH_C, DEFAULT_LOW_C, LEVEL, walk
from traywarden.domain.nights import past_turns
from traywarden.services.questions.ground import DAY_MS, Ground
from traywarden.services.questions.place_outlook import known_hours, place_hours

ASKED_H = 18
MOST_D = 400
LEAST_JUDGED = 10


@dataclass(frozen=True, slots=True)
class LowHighBacktest:
    """One place's lows or highs. `held` is the share of 80 % intervals that held what came, each made from
    the days before it; `ratio` the mean error against that of “same as last time”. None where too few nights
    or days can be judged; `reason` says how many."""

    place: str
    measured: str
    what: str
    judged: int
    held: float | None
    width_c: float | None
    error_c: float | None
    plain_error_c: float | None
    ratio: float | None
    reason: str = ""


def backtest_places(ground: Ground) -> tuple[LowHighBacktest, ...]:
    """Tonight's low and tomorrow's high of every place, asked at 18:00 on every day of the last 400.

    Only intervals that own errors had set by then are judged, and only where ten and more can be.
    """
    found = []
    # The last evening that has passed.
    today = local_date(ground.now_ms - ASKED_H * 3_600_000, ground.zone)
    asked_s = (day_start_ms(today, ground.zone) + ASKED_H * 3_600_000) / 1000
    for place in ground.places.values():
        for measured in ("air", "soil"):
            hourly = place_hours(ground, place, measured, MOST_D)
            if not np.isfinite(getattr(hourly, f"{measured}_temp_c")).any():
                continue
            hours = known_hours(hourly, measured)
            days = round((asked_s - hours.start_s) * 1000 / DAY_MS)
            for what, of_night in (("tonight's low", True), ("tomorrow's high", False)):
                if days < 2:
                    found.append(_too_few(place.name, measured, what, 0))
                    continue
                turns = past_turns(hours, asked_s, ground.zone, of_night=of_night, days=days)
                half_width_c = DEFAULT_LOW_C if of_night else DEFAULT_HIGH_C
                walked = walk(turns, half_width_c=half_width_c, of_night=of_night)
                judged = walked.calibrated & np.isfinite(turns.truth_c)
                if judged.sum() < LEAST_JUDGED:
                    found.append(_too_few(place.name, measured, what, int(judged.sum())))
                    continue
                truth, low, high = turns.truth_c[judged], walked.low_c[judged], walked.high_c[judged]
                error_c = float(np.abs(truth - walked.estimate_c[judged]).mean())
                plain_c = float(np.abs(truth - turns.plain_c[judged]).mean())
                found.append(
                    LowHighBacktest(
                        place.name,
                        measured,
                        what,
                        int(judged.sum()),
                        float(((low <= truth) & (truth <= high)).mean()),
                        float((high - low).mean()),
                        error_c,
                        plain_c,
                        error_c / plain_c if plain_c > 0 else None,
                    )
                )
    return tuple(found)


def _too_few(place: str, measured: str, what: str, judged: int) -> LowHighBacktest:
    reason = (
        f"{judged} of the {LEAST_JUDGED} it takes can be judged, as the first ten on record set the first "
        f"{LEVEL * 100:.0f} % interval"
    )
    return LowHighBacktest(place, measured, what, judged, None, None, None, None, None, reason)
