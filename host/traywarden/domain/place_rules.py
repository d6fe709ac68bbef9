"""Rules of a place: frost tonight, a frame too hot or left open in the cold, heavy rain on open trays."""

import math
from dataclasses import dataclass

from scipy import special

from traywarden.domain.hardiness import Hardiness
from traywarden.domain.lows_highs import Expected
from traywarden.domain.rules import METRIC, Answer, Facts, Verdict
from traywarden.domain.units import Display, list_words

VENT_DO = "Open it now: lift the lid, or open the vents."
SHADE_DO = (
    "Shade it, or carry trays into shade, and open it wide if it is not: the open air is nearly as hot."
)
SHADE_ABOVE_C = 10.0
"""So far above the limit a place is told of although opening it does not help (no source)."""
VENT_SOURCE = "common practice: a general reference page, no extension service"
SHUT_DO = "Close it now, for the night."
SHUT_SOURCE = (
    "closed, a frame is 3 to 6 °C warmer than the open air by night: Univ. of Missouri Extension G6965"
)
RAIN_DO = (
    "Take trays of seed under cover, and lift what stands in base trays: rain washes seed up and drowns it."
)
RAIN_SOURCE = "common practice, no source"
_HARM = {
    Hardiness.TENDER: "are chilled",
    Hardiness.HALF_HARDY: "freeze",
    Hardiness.HARDY: "are killed",
}
NOBODY = "nothing that could suffer stands here"


@dataclass(frozen=True, slots=True)
class Threatened:
    """One tray that stands in a place and what its plants bear [°C]."""

    tray: str
    crop: str
    hardiness: Hardiness
    limit_c: float
    source: str

    @property
    def words(self) -> str:
        """The tray and its crop, which a tray named after it says by itself."""
        return self.tray if self.crop.casefold() in self.tray.casefold() else f"{self.tray} ({self.crop})"


def chance_below(found: Expected, limit_c: float) -> float:
    """The chance that the low falls below a limit, 0 to 1.

    Parameters
    ----------
    found : Expected
        Estimate with the interval that holds it with chance `found.level`.
    limit_c : float [°C]

    Returns
    -------
    float

    Notes
    -----
    A normal distribution below the estimate whose tail beyond `low_c` is (1 − level) / 2; likewise above.

    Example
    -------
    >>> expected = Expected(2.0, 0.0, 5.0, 0.8, True, 20, None, None, None, "")
    >>> round(chance_below(expected, 0.0), 3), round(chance_below(expected, 2.0), 3)
    (0.1, 0.5)
    """
    z = float(special.ndtri((1 + found.level) / 2))
    away_c = limit_c - found.estimate_c
    side_c = found.estimate_c - found.low_c if away_c < 0 else found.high_c - found.estimate_c
    if side_c <= 0:
        return float(away_c >= 0)
    return float(special.ndtr(z * away_c / side_c))


def frost_verdict(
    low: Expected | None,
    trays: list[Threatened],
    *,
    least_chance: float,
    tonight: bool,
    measured: str = "air",
    by: str = "before dark",
    by_ms: float | None = None,
    why_blind: str = "",
    display: Display = METRIC,
) -> Verdict:
    """Whether the coming night may harm what stands in a place.

    Parameters
    ----------
    low : Expected or None
        Tonight's low [°C] with its interval; None where it cannot be foretold, `why_blind` says why.
    trays : list of Threatened
        What stands there and is up.
    least_chance : float
        From this chance on it is told; it holds down to half of that.
    tonight : bool
        Whether it is time to ask about the night.
    measured : str
        What the low is of: air or soil.
    by : str
        By when something is to be done.
    by_ms : float or None
        That in ms since 1970, where it is known: from then on it is to be done now.
    display : Display

    Returns
    -------
    Verdict
        Facts: `low_c`, `limit_c`, `chance`, `trays`, `do`, `source`; `do_late` from `late_from_ms` on.

    Notes
    -----
    The tray that bears least speaks for the place. Others are named beside their own limit, where its chance
    is half of `least_chance` or more. Seed that is not up yet is not harmed by a frost night.
    """
    if not trays:
        return Verdict(Answer.NO, NOBODY, at_once=True)
    if not tonight:
        return Verdict(Answer.NO, "the night is over", at_once=True)
    if low is None:
        return Verdict(Answer.BLIND, why_blind or "tonight's low cannot be foretold")
    first = max(trays, key=lambda t: t.limit_c)
    chance = chance_below(low, first.limit_c)
    kinds: dict[tuple[float, Hardiness], list[Threatened]] = {}
    for tray in sorted(trays, key=lambda t: -t.limit_c):
        if tray.limit_c == first.limit_c or chance_below(low, tray.limit_c) >= least_chance / 2:
            kinds.setdefault((tray.limit_c, tray.hardiness), []).append(tray)
    named = list_words(tray.tray for of_kind in kinds.values() for tray in of_kind)
    odds = "; ".join(
        f"{list_words(t.words for t in of_kind)}: {hardiness} plants {_HARM[hardiness]} below "
        f"{display.limit(limit_c)}, chance {100 * chance_below(low, limit_c):.0f} %"
        for (limit_c, hardiness), of_kind in kinds.items()
    )
    facts: Facts = {
        "low_c": round(low.estimate_c, 1),
        "limit_c": first.limit_c,
        "chance": round(chance, 2),
        "trays": named,
        "do": f"Cover or carry in {by}: {named}.",
        # Also where it is dark: nothing is left then of the trays that were named by day.
        "do_late": f"Cover or carry in now: {named}.",
        "late_from_ms": by_ms,
        "source": "; ".join(dict.fromkeys(t.source for of_kind in kinds.values() for t in of_kind)),
    }
    words = (
        f"tonight's {measured} may fall to {display.temp(low.estimate_c, 0)} "
        f"({display.temp_range(low.low_c, low.high_c, 0)}); {odds}"
    )
    if chance >= least_chance:
        return Verdict(Answer.YES, words, facts)
    if chance >= least_chance / 2:
        return Verdict(Answer.HOLD, words, facts)
    return Verdict(Answer.NO, words, facts)


def vent_verdict(
    air_c: float | None,
    trays: int,
    *,
    above_c: float,
    close_below_c: float,
    outside_c: float | None = None,
    least_excess_c: float = 0.0,
    why_blind: str = "",
    opener: str = "",
    display: Display = METRIC,
) -> Verdict:
    """Whether a covered place is too hot and must be opened, or shaded.

    Parameters
    ----------
    air_c : float or None [°C]
        Newest air temperature under the cover.
    trays : int
        Trays that stand there.
    above_c, close_below_c : float [°C]
        Where it is too hot, and how far below that it is over.
    outside_c : float or None [°C]
        Newest air in the open; None where it is not measured.
    least_excess_c : float [°C]
        A place less warmer than the open air than this is open already, or as good as open.
    opener : str
        What its record says of a lid opener that should have opened it; empty for nothing.

    Returns
    -------
    Verdict
        Facts: `air_temp_c`, `outside_c`, `vent_above_c`, `do`, `source`.

    Notes
    -----
    Opening brings a place down to the open air and no further. One that is hot because the day is hot is told
    of from `SHADE_ABOVE_C` above the limit on, with shade for advice; this too is over `close_below_c` below
    that. The excess is over two thirds below where it counts.

    Example
    -------
    >>> vent_verdict(31.0, 2, above_c=27.0, close_below_c=3.0).answer.value
    'yes'
    >>> hot_day = {"above_c": 27.0, "close_below_c": 3.0, "outside_c": 30.0, "least_excess_c": 3.0}
    >>> vent_verdict(31.0, 2, **hot_day).answer.value
    'no'
    """
    if not trays:
        return Verdict(Answer.NO, NOBODY, at_once=True)
    if air_c is None:
        return Verdict(Answer.BLIND, why_blind or "its air is not measured")
    excess_c = math.inf if outside_c is None else air_c - outside_c
    shade = excess_c < least_excess_c
    facts: Facts = {
        "air_temp_c": round(air_c, 1),
        "outside_c": None if outside_c is None else round(outside_c, 1),
        "vent_above_c": above_c,
        "do": SHADE_DO if shade else f"{VENT_DO} {opener}".strip(),
        "source": VENT_SOURCE,
    }
    now, limit = f"its air is at {display.temp(air_c)}", display.limit(above_c)
    open_air = (
        ""
        if outside_c is None
        else f", only {display.temp_span(max(excess_c, 0.0), 1)} warmer than the open air"
    )
    if air_c > above_c + (SHADE_ABOVE_C if shade else 0.0):
        return Verdict(Answer.YES, f"{now}, above {limit}{open_air if shade else ''}", facts)
    about = air_c > above_c - close_below_c
    if about and excess_c >= 2 * least_excess_c / 3:
        return Verdict(Answer.HOLD, f"{now}, about {limit}", facts)
    if shade and air_c > above_c + SHADE_ABOVE_C - close_below_c:
        return Verdict(Answer.HOLD, f"{now}, far above {limit}{open_air}", facts)
    why = f"{open_air}: it stands open, or opening it would not help" if about else f", below {limit}"
    return Verdict(Answer.NO, f"{now}{why}", facts)


def shut_verdict(
    inside_c: float | None,
    outside_c: float | None,
    trays: int,
    *,
    below_c: float,
    least_excess_c: float,
    dark: bool,
    opened_at: str,
    closed: bool = False,
    why_blind: str = "",
    display: Display = METRIC,
) -> Verdict:
    """Whether a frame stands open on a cold evening.

    Parameters
    ----------
    inside_c, outside_c : float or None [°C]
        Newest air under the cover and in the open.
    trays : int
        Trays that stand there.
    below_c : float [°C]
        Open air below this wants the frame closed.
    least_excess_c : float [°C]
        A closed frame is warmer than the open air by at least this; by twice this it is closed for sure.
    dark : bool
        Whether the sun is down: by day sun and shade, not the lid, tell how warm it is.
    opened_at : str
        When it was last seen or written down as opened, without having been closed; empty: not today.
    closed : bool
        Whether it was seen or written down as closed after that.

    Returns
    -------
    Verdict
        Facts: `inside_c`, `outside_c`, `below_c`, `do`, `source`.

    Notes
    -----
    Both signs are wanted, an opening and air hardly warmer than outside: a leaky frame in the wind is no
    warmer either. An opening so long ago that it is not seen any more closes nothing: only a closing, or air
    that is warmer again, does.
    """
    if not (trays and dark) or closed:
        why = "it was closed since it was last opened" if dark else "it is day"
        return Verdict(Answer.NO, why if trays else NOBODY, at_once=True)
    if inside_c is None or outside_c is None:
        return Verdict(Answer.BLIND, why_blind or "the air inside or outside is not measured")
    excess_c = inside_c - outside_c
    facts: Facts = {
        "inside_c": round(inside_c, 1),
        "outside_c": round(outside_c, 1),
        "below_c": below_c,
        "do": f"{SHUT_DO} If it has a lid opener, see whether that sticks.",
        "source": SHUT_SOURCE,
    }
    lid = (
        f"which was opened {opened_at}"
        if opened_at
        else "of which no opening was seen or written down of late"
    )
    now = (
        f"the open air is at {display.temp(outside_c)}, below {display.limit(below_c)}, and it is only "
        f"{display.temp_span(max(excess_c, 0.0), 1)} warmer under the cover, {lid}"
    )
    if outside_c >= below_c + 1 or excess_c >= 2 * least_excess_c:
        warmer = f"it is {display.temp_span(max(excess_c, 0.0), 1)} warmer than outside"
        return Verdict(Answer.NO, f"{warmer}, where it is {display.temp(outside_c)}", facts)
    if opened_at and outside_c < below_c and excess_c < least_excess_c:
        return Verdict(Answer.YES, now, facts)
    return Verdict(Answer.HOLD, now, facts)


def rain_verdict(
    fell_mm: float | None,
    coming_mm: float | None,
    trays: list[str],
    *,
    day_mm: float,
    forecast: str = "",
) -> Verdict:
    """Whether rain on uncovered trays was, or will be, heavy.

    Parameters
    ----------
    fell_mm, coming_mm : float or None [mm]
        Recorded in the last day, and forecast for the next; None: no gauge, no forecast.
    trays : list of str
        Trays that stand there uncovered.
    day_mm : float [mm]
        Heavy from here on; over below four fifths of it.
    forecast : str
        Whose forecast it is.

    Returns
    -------
    Verdict
        Facts: `fell_mm`, `coming_mm`, `day_mm`, `do`, `source`.

    Example
    -------
    >>> rain_verdict(None, 31.0, ["A1"], day_mm=20.0, forecast="a forecast").answer.value
    'yes'
    """
    if not trays:
        return Verdict(Answer.NO, NOBODY, at_once=True)
    known = [(mm, how) for mm, how in ((fell_mm, "fell"), (coming_mm, "coming")) if mm is not None]
    known = [(mm, how) for mm, how in known if math.isfinite(mm)]
    if not known:
        return Verdict(Answer.BLIND, "there is neither a rain gauge nor a forecast that speaks of rain")
    most_mm, how = max(known)
    facts: Facts = {
        "fell_mm": fell_mm,
        "coming_mm": coming_mm,
        "day_mm": day_mm,
        "trays": list_words(trays),
        "do": RAIN_DO,
        "source": RAIN_SOURCE,
    }
    where = list_words(trays)
    words = (
        f"{most_mm:.0f} mm of rain fell on {where} in the last day"
        if how == "fell"
        else f"{most_mm:.0f} mm of rain are forecast for {where} in the next day ({forecast})"
    )
    if most_mm >= day_mm:
        return Verdict(Answer.YES, f"{words}; heavy is {day_mm:g} mm", facts)
    if most_mm >= 0.8 * day_mm:
        return Verdict(Answer.HOLD, words, facts)
    return Verdict(Answer.NO, words, facts)
