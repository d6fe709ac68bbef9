"""Rules of a tray: it must be watered now, or its mix is too cold for its seed to come up."""

from collections.abc import Sequence

from traywarden.domain.crops import RECOMMENDED_FROM
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
from traywarden.domain.units import Display


def dry_verdict(
    heads: Sequence[HeadSample],
    mix: Mix | None,
    *,
    close_above: float,
    litres: float | None = None,
    planted_out: bool = False,
    line_times: float = 1.0,
) -> Verdict:
    """Whether a tray must be watered now: its driest head against the mix's dry line.

    Parameters
    ----------
    heads : sequence of HeadSample
        Heads in the tray; moisture in [m³/m³].
    mix : Mix or None
        The mix the tray is filled with: dry line and container capacity in [m³/m³].
    close_above : float
        How far above the dry line the mix must rise before it no longer counts as dry
        [fraction of container capacity].
    litres : float or None
        Volume of the mix in the tray [l], where known: then `pour_litres` is in the facts.
    planted_out : bool
        What stood in the tray has been planted out and nothing was sown since.
    line_times : float
        The dry line that counts, as a part or multiple of the mix's own.

    Returns
    -------
    Verdict
        yes below the dry line; hold up to dry line + close_above × container capacity; no above that,
        and no at once for a tray that was planted out;
        blind without a mix or without a usable moisture. Facts: `moisture_m3_m3`, `dry_line_m3_m3`,
        `container_capacity_m3_m3`, `moisture_fraction` [of container capacity], `calibrated`, `head`.

    Notes
    -----
    Heads with a missing or left-out moisture (frozen, stuck, out of range) are passed over; the tray is
    blind only when every head is. Water to pour = mix volume × (container capacity − moisture): what
    brings the whole volume back to container capacity, drainage not counted.

    Raises
    ------
    Nothing.

    References
    ----------
    Container capacity = water held after drainage / volume: NCSU porometer definitions, footnotes of
    Table 1, Int. J. Agronomy 2012, 978528.

    Example
    -------
    >>> mix = Mix(1, "peat and perlite", {"peat": 2, "perlite": 1}, 0.60, 0.25)
    >>> dry_verdict([HeadSample("a/1", 0.21, True)], mix, close_above=0.05).answer.value
    'yes'
    >>> dry_verdict([HeadSample("a/1", 0.26, True)], mix, close_above=0.05).answer.value
    'hold'
    """
    if planted_out:
        return Verdict(Answer.NO, "it was planted out and nothing was sown in it since", at_once=True)
    if mix is None:
        return Verdict(Answer.BLIND, "the tray has no mix yet, so there is no dry line to hold it against")
    wet = [(h.moisture_m3_m3, h) for h in heads if h.moisture_m3_m3 is not None]
    if not wet:
        return Verdict(Answer.BLIND, why_blind(heads, [h.moisture_trouble for h in heads], "moisture"))
    moisture_m3_m3, head = min(wet, key=lambda pair: pair[0])
    capacity, line = mix.container_capacity_m3_m3, round(line_times * mix.dry_line_m3_m3, 4)
    facts: dict[str, float | str | bool | None] = {
        "moisture_m3_m3": round(moisture_m3_m3, 4),
        "dry_line_m3_m3": line,
        "close_m3_m3": round(line + close_above * capacity, 4),
        "container_capacity_m3_m3": capacity,
        "moisture_fraction": round(moisture_m3_m3 / capacity, 4),
        "calibrated": head.moisture_calibrated,
        "head": head.label,
        "mix": mix.name,
    }
    if litres is not None:
        facts["pour_litres"] = round(max(0.0, litres * (capacity - moisture_m3_m3)), 2)
    percent = 100 * moisture_m3_m3 / capacity
    now = f"moisture {moisture_m3_m3:.3f} m³/m³ ({percent:.0f} % of container capacity)"
    at = f"dry line {line:.3f} m³/m³ of {mix.name}"
    if moisture_m3_m3 < line:
        return Verdict(Answer.YES, f"{now} is below the {at}", facts)
    if moisture_m3_m3 < line + close_above * capacity:
        return Verdict(Answer.HOLD, f"{now} is just above the {at}", facts)
    return Verdict(Answer.NO, f"{now} is above the {at}", facts)


def cold_verdict(
    heads: Sequence[HeadSample],
    sown: Sown | None,
    *,
    close_above_c: float,
    display: Display = METRIC,
) -> Verdict:
    """Whether a sown tray that is not up yet lies below its crop's lowest germination temperature.

    Parameters
    ----------
    heads : sequence of HeadSample
        Heads in the tray; soil temperature in [°C].
    sown : Sown or None
        The sowing that stands in the tray, with the crop's floor in [°C].
    close_above_c : float
        How far above the floor the coldest head must rise before it no longer counts as cold [°C].
    display : Display
        In which unit the reason speaks.

    Returns
    -------
    Verdict
        yes below the floor; hold up to floor + close_above_c; no above that, and no at once when nothing
        is sown or it has come up; blind without a usable soil temperature or a published floor.
        Facts: `soil_temp_c`, `floor_c`, `crop`, `floor_kind`, `floor_source`, `head`.

    Notes
    -----
    The coldest head speaks for the tray. Missing and left-out values are passed over; the tray is blind
    only when every head is.

    Raises
    ------
    Nothing.

    References
    ----------
    The floor's own source is carried in `sown.floor_source`.

    Example
    -------
    >>> pepper = Sown("pepper", sown_ms=0, floor_c=15.6, floor_source="a table")
    >>> cold_verdict([HeadSample("a/1", soil_temp_c=12.0)], pepper, close_above_c=1.0).answer.value
    'yes'
    """
    if sown is None or sown.emerged_ms is not None:
        return no_seed(sown)
    warm = [(h.soil_temp_c, h) for h in heads if h.soil_temp_c is not None]
    if sown.floor_c is None or not warm:
        unknown = f"no lowest temperature is published for {sown.crop}"
        blind = why_blind(heads, [h.soil_temp_trouble for h in heads], "soil temperature")
        return Verdict(Answer.BLIND, unknown if sown.floor_c is None else blind)
    soil_temp_c, head = min(warm, key=lambda pair: pair[0])
    facts: Facts = {
        "soil_temp_c": round(soil_temp_c, 2),
        "floor_c": sown.floor_c,
        "close_c": sown.floor_c + close_above_c,
        "crop": sown.crop,
        "floor_kind": sown.floor_kind,
        "floor_source": sown.floor_source,
        "head": head.label,
    }
    now = f"soil at {display.temp(soil_temp_c)}"
    floor = f"{sown.crop}'s {sown.floor_kind} {display.temp(sown.floor_c)}"
    if sown.floor_kind == RECOMMENDED_FROM:
        floor = f"{display.temp(sown.floor_c)}, where {sown.crop}'s recommended range begins"
    if soil_temp_c < sown.floor_c:
        return Verdict(Answer.YES, f"{now} is below {floor}", facts)
    if soil_temp_c < sown.floor_c + close_above_c:
        return Verdict(Answer.HOLD, f"{now} is just above {floor}", facts)
    return Verdict(Answer.NO, f"{now} is above {floor}", facts)


def dry_rule(
    *, open_delay_s: float, close_delay_s: float, close_above: Level, line_times: Level = 1.0
) -> Rule:
    """Water now: below the mix's dry line."""
    return Rule(
        "dry",
        "urgent",
        "Does this tray need water now?",
        open_delay_s,
        close_delay_s,
        lambda e: dry_verdict(
            e.heads,
            e.mix,
            close_above=at(close_above, e.of),
            litres=e.litres,
            planted_out=e.planted_out,
            line_times=at(line_times, e.of),
        ),
        lambda s: dry_answers(s, close_above=at(close_above, s.of), line_times=at(line_times, s.of)),
    )


def dry_answers(spell: Spell, *, close_above: float, line_times: float = 1.0) -> CodeArray:
    """The answers of `dry_verdict` at many instants."""
    if spell.planted_out:
        return spell.all(NO_AT_ONCE)
    if spell.mix is None:
        return spell.all(BLIND)
    line = round(line_times * spell.mix.dry_line_m3_m3, 4)
    capacity = spell.mix.container_capacity_m3_m3
    return spell.coded(spell.moisture_m3_m3, line, line + close_above * capacity)


def cold_rule(
    *, open_delay_s: float, close_delay_s: float, close_above_c: Level, display: Display = METRIC
) -> Rule:
    """Too cold: below the crop's lowest germination temperature, sown and not up yet."""
    return Rule(
        "cold",
        "warning",
        "Is the mix too cold for this seed to come up?",
        open_delay_s,
        close_delay_s,
        lambda e: cold_verdict(e.heads, e.sown, close_above_c=at(close_above_c, e.of), display=display),
        lambda s: cold_answers(s, close_above_c=at(close_above_c, s.of)),
    )


def cold_answers(spell: Spell, *, close_above_c: float) -> CodeArray:
    """The answers of `cold_verdict` at many instants."""
    if spell.sown is None or spell.sown.emerged_ms is not None:
        return spell.all(NO_AT_ONCE)
    if spell.sown.floor_c is None:
        return spell.all(BLIND)
    return spell.coded(spell.soil_temp_c, spell.sown.floor_c, spell.sown.floor_c + close_above_c)
