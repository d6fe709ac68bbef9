"""Rules of seed and seedlings in a tray: too warm to germinate, waterlogged, kept wet after it is up."""

from collections.abc import Sequence

import numpy as np

from traywarden.domain.evidence import HeadSample, Sown
from traywarden.domain.garden import Mix
from traywarden.domain.levels import Level, at
from traywarden.domain.rules import (
    BLIND,
    METRIC,
    NO_AT_ONCE,
    Answer,
    CodeArray,
    Facts,
    Rule,
    Spell,
    Verdict,
    no_seed,
    why_blind,
)
from traywarden.domain.series import FloatArray
from traywarden.domain.stage import Stage
from traywarden.domain.units import Display

ASLEEP_DO = (
    "Move it to shade or indoors and water it with cool water now: its seed falls asleep in the heat and "
    "then stays asleep. Sow again in the evening, so that the first night is its coolest time."
)
HOT_DO = "Move it to shade, or open what covers it."
WATERLOGGED_DO = (
    "Lift it from its base tray to drain and keep rain off it; mix in more perlite next time, or water less "
    "at once."
)
DAMP_DO = (
    "It needs less water now than seed does: let it dry to its dry line between waterings, water from below, "
    "and take off lid or film, so that seedlings do not damp off."
)
DAMP_SOURCE = (
    "moist, not soggy, against damping-off: Univ. of Minnesota Extension; the level is common practice"
)
SOAKED_SOURCE = "common practice, no source"
GROWING = (Stage.SEEDLING, Stage.POTTED_UP)
NOT_SOWN = (Stage.EMPTY, Stage.PLANTED_OUT)


def hot_verdict(
    heads: Sequence[HeadSample],
    sown: Sown | None,
    *,
    close_below_c: float,
    display: Display = METRIC,
) -> Verdict:
    """Whether a sown tray that is not up yet is too warm for its seed.

    Parameters
    ----------
    heads : sequence of HeadSample
        Heads in the tray; soil temperature in [°C].
    sown : Sown or None
        The sowing that stands in the tray, with the crop's ceiling in [°C].
    close_below_c : float
        How far below the ceiling the warmest head must fall before it no longer counts as too warm [°C].
    display : Display

    Returns
    -------
    Verdict
        yes above the ceiling; hold down to ceiling − close_below_c; no below that, and no at once when
        nothing is sown or it has come up; blind without a usable soil temperature or a published ceiling.

    Notes
    -----
    The warmest head speaks for the tray. The ceiling is where heat sends seed to sleep, for the crops of
    which that is published, else the crop's published maximum.

    References
    ----------
    The ceiling's own source is carried in `sown.ceiling_source`.

    Example
    -------
    >>> lettuce = Sown("Lettuce", 0, 1.7, ceiling_c=25.0, ceiling_kind="limit", falls_asleep=True)
    >>> hot_verdict([HeadSample("a/1", soil_temp_c=27.0)], lettuce, close_below_c=1.0).answer.value
    'yes'
    """
    if sown is None or sown.emerged_ms is not None:
        return no_seed(sown)
    known = [(h.soil_temp_c, h) for h in heads if h.soil_temp_c is not None]
    if sown.ceiling_c is None or not known:
        unknown = f"no highest temperature is published for {sown.crop}"
        blind = why_blind(heads, [h.soil_temp_trouble for h in heads], "soil temperature")
        return Verdict(Answer.BLIND, unknown if sown.ceiling_c is None else blind)
    soil_temp_c, head = max(known, key=lambda pair: pair[0])
    facts: Facts = {
        "soil_temp_c": round(soil_temp_c, 2),
        "ceiling_c": sown.ceiling_c,
        "close_c": sown.ceiling_c - close_below_c,
        "crop": sown.crop,
        "source": sown.ceiling_source,
        "head": head.label,
        "do": ASLEEP_DO if sown.falls_asleep else HOT_DO,
    }
    now = f"the mix is at {display.temp(soil_temp_c)}"
    ceiling = f"{sown.crop}'s {sown.ceiling_kind} of {display.temp(sown.ceiling_c)}"
    if soil_temp_c > sown.ceiling_c:
        return Verdict(Answer.YES, f"{now}, above {ceiling}", facts)
    if soil_temp_c > sown.ceiling_c - close_below_c:
        return Verdict(Answer.HOLD, f"{now}, just below {ceiling}", facts)
    return Verdict(Answer.NO, f"{now}, below {ceiling}", facts)


def hot_answers(spell: Spell, *, close_below_c: float) -> CodeArray:
    """The answers of `hot_verdict` at many instants."""
    if spell.sown is None or spell.sown.emerged_ms is not None:
        return spell.all(NO_AT_ONCE)
    if spell.sown.ceiling_c is None:
        return spell.all(BLIND)
    warmest = np.fmax.reduce(spell.soil_temp_c, axis=0, initial=np.nan)
    return spell.coded_above(warmest, spell.sown.ceiling_c - close_below_c, spell.sown.ceiling_c)


def soaked_verdict(
    heads: Sequence[HeadSample],
    mix: Mix | None,
    stage: Stage,
    *,
    above: float,
    close_below: float,
    applies: Sequence[Stage],
    do: str,
    source: str,
) -> Verdict:
    """Whether all of a tray is as wet as `above`, a part of container capacity, or wetter.

    Parameters
    ----------
    heads : sequence of HeadSample
        Heads in the tray; moisture in [m³/m³].
    mix : Mix or None
    stage : Stage
        Of what stands in the tray.
    above : float
        Where it counts as soaked [fraction of container capacity].
    close_below : float
        How far below that the driest head must fall before it no longer counts [the same].
    applies : sequence of Stage
        Stages in which it matters; in others the answer is no, at once.
    do, source : str
        What to do, and where the level comes from.

    Returns
    -------
    Verdict
        blind without a mix, without a usable moisture, or where that is not calibrated in the mix: a sensor
        as it comes may read above container capacity for ever.

    Notes
    -----
    The driest head speaks for the tray: one head in water is a matter of that head or of level.

    Example
    -------
    >>> mix = Mix(1, "peat", {"peat": 1}, 0.60, 0.25)
    >>> levels = {"above": 0.95, "close_below": 0.05, "applies": [Stage.SOWN], "do": "", "source": ""}
    >>> soaked_verdict([HeadSample("a/1", 0.58, True)], mix, Stage.SOWN, **levels).answer.value
    'yes'
    """
    if stage not in applies:
        return Verdict(Answer.NO, f"its stage is {stage.words}", at_once=True)
    wet = [(h.moisture_m3_m3, h) for h in heads if h.moisture_m3_m3 is not None]
    if mix is None or not wet or not all(h.moisture_calibrated for _, h in wet):
        why = "its moisture is not calibrated in your mix, so soaked cannot be told"
        if mix is None:
            why = "the tray has no mix yet, so its container capacity is not known"
        elif not wet:
            why = why_blind(heads, [h.moisture_trouble for h in heads], "moisture")
        return Verdict(Answer.BLIND, why)
    moisture_m3_m3, head = min(wet, key=lambda pair: pair[0])
    capacity = mix.container_capacity_m3_m3
    facts: Facts = {
        "moisture_m3_m3": round(moisture_m3_m3, 4),
        "soaked_m3_m3": round(above * capacity, 4),
        "close_m3_m3": round((above - close_below) * capacity, 4),
        "moisture_fraction": round(moisture_m3_m3 / capacity, 4),
        "mix": mix.name,
        "source": source,
        "head": head.label,
        "do": do,
    }
    now = f"{mix.name} is at {100 * moisture_m3_m3 / capacity:.0f} % of container capacity"
    line = f"{100 * above:.0f} %"
    if moisture_m3_m3 >= above * capacity:
        return Verdict(Answer.YES, f"{now} and has not drained below {line}", facts)
    if moisture_m3_m3 >= (above - close_below) * capacity:
        return Verdict(Answer.HOLD, f"{now}, just below {line}", facts)
    return Verdict(Answer.NO, f"{now}, below {line}", facts)


def soaked_answers(spell: Spell, *, above: float, close_below: float, applies: Sequence[Stage]) -> CodeArray:
    """The answers of `soaked_verdict` at many instants."""
    if spell.stage not in applies:
        return spell.all(NO_AT_ONCE)
    if spell.mix is None:
        return spell.all(BLIND)
    capacity = spell.mix.container_capacity_m3_m3
    driest: FloatArray = np.fmin.reduce(spell.moisture_m3_m3, axis=0, initial=np.nan)
    # “At or above” is yes and hold here, so the edges are moved down by the least step there is.
    codes = spell.coded_above(
        driest, np.nextafter((above - close_below) * capacity, -1), np.nextafter(above * capacity, -1)
    )
    guessed = [n for n, calibrated in enumerate(spell.calibrated) if not calibrated]
    codes[~np.isnan(spell.moisture_m3_m3[guessed]).all(axis=0)] = BLIND
    return codes


def hot_rule(
    *, open_delay_s: float, close_delay_s: float, close_below_c: Level, display: Display = METRIC
) -> Rule:
    """Too warm: above what the seed comes up at, sown and not up yet."""
    return Rule(
        "hot",
        "warning",
        "Is the mix too warm for this seed to come up?",
        open_delay_s,
        close_delay_s,
        lambda e: hot_verdict(e.heads, e.sown, close_below_c=at(close_below_c, e.of), display=display),
        lambda s: hot_answers(s, close_below_c=at(close_below_c, s.of)),
        beside="cold",
    )


def waterlogged_rule(*, open_delay_s: float, close_delay_s: float, above: Level, close_below: Level) -> Rule:
    """Soaked for so long that seed drowns."""
    applies = tuple(stage for stage in Stage if stage not in NOT_SOWN)
    return _soaked_rule(
        "waterlogged",
        "warning",
        "Has this tray stood soaked for too long?",
        (open_delay_s, close_delay_s),
        above,
        close_below,
        applies,
        (WATERLOGGED_DO, SOAKED_SOURCE),
    )


def damp_rule(*, open_delay_s: float, close_delay_s: float, above: Level, close_below: Level) -> Rule:
    """Seedlings that are kept as wet as seed."""
    return _soaked_rule(
        "damp",
        "info",
        "Are these seedlings still kept as wet as seed?",
        (open_delay_s, close_delay_s),
        above,
        close_below,
        GROWING,
        (DAMP_DO, DAMP_SOURCE),
        told_once=True,  # dry or not is what they are asked next
    )


def _soaked_rule(
    name: str,
    severity: str,
    question: str,
    delays_s: tuple[float, float],
    above: Level,
    close_below: Level,
    applies: tuple[Stage, ...],
    says: tuple[str, str],
    *,
    told_once: bool = False,
) -> Rule:
    do, source = says
    return Rule(
        name,
        severity,
        question,
        *delays_s,
        lambda e: soaked_verdict(
            e.heads,
            e.mix,
            e.stage,
            above=at(above, e.of),
            close_below=at(close_below, e.of),
            applies=applies,
            do=do,
            source=source,
        ),
        lambda s: soaked_answers(
            s, above=at(above, s.of), close_below=at(close_below, s.of), applies=applies
        ),
        beside="dry",
        told_once=told_once,
    )
