"""Probes: gone quiet, battery low, a head faulty or out of its mix, a clock that is wrong."""

import math

import numpy as np

from traywarden.domain.battery import ONE_CELL_V
from traywarden.domain.flags import LEFT_OUT, Flag
from traywarden.domain.misplaced import Misplaced, pulled_out
from traywarden.domain.probe_rules import HeadFault, battery_verdict, faults_verdict, quiet_verdict
from traywarden.domain.rules import Verdict
from traywarden.domain.series import BoolArray, HeadSeries
from traywarden.domain.subjects import Subject, SubjectKind
from traywarden.domain.troubles import Fault, flag_troubles
from traywarden.domain.units import list_words
from traywarden.services.asking.round import Round, Verdicts, of_each
from traywarden.services.probe_cards import ProbeCard
from traywarden.store import readings as reading_store

HOUR_MS = 3_600_000
LOOK_BACK_MS = 48 * HOUR_MS
FAULTS = (Fault.OUT_OF_RANGE, Fault.POWER_UP_VALUE, Fault.DISCONNECTED)
"""What makes a head faulty while it lasts. A frozen mix, a spike and a still night are no fault of it."""
FAULTY_BACK_MS = 6 * HOUR_MS
MEASURED = ("soil_temp_c", "moisture_m3_m3", "air_temp_c")
LEAST_READINGS = 3
MOST_ODD_PART = 0.5
"""A head is faulty where more than this part of its last hours is, and well again where no more than half of
that is: a loose contact comes and goes (no source)."""
UNSURE = '"time_unsure"'
CLOCK_DO = "See that it gets the time when it connects, and that the host's own clock is right."
AHEAD_MS = 600_000
"""How far ahead of ours a probe's clock may run."""
BEHIND_MS = 24 * HOUR_MS
"""A probe that was heard so long after its newest reading dates what it sends wrongly, or has just come back
from a long time out of reach; the next round tells (no source)."""


def a_probe(card: ProbeCard) -> Subject:
    return Subject(SubjectKind.PROBE, card.probe_id)


def in_use(card: ProbeCard) -> bool:
    return not card.imported and any(head.tray or head.place for head in card.heads)


def last_ms(card: ProbeCard) -> int | None:
    return max((h.last_reading_ms for h in card.heads if h.last_reading_ms is not None), default=None)


def where(card: ProbeCard) -> str:
    return list_words(dict.fromkeys(w for h in card.heads if (w := h.tray or h.place))) or "no tray"


def quiet(round_: Round) -> Verdicts:
    """Whether each probe has gone quiet."""
    found = {}
    hears_since_ms = round_.vitals.hears_since_ms
    heard_for_s = math.inf if hears_since_ms is None else (round_.now_ms - hears_since_ms) / 1000
    for card in round_.probes:
        newest_ms = last_ms(card)
        found[a_probe(card)] = quiet_verdict(
            None if newest_ms is None else max(0.0, (round_.now_ms - newest_ms) / 1000),
            after_s=round_.ground.settings["quiet.after_s"],
            in_use=in_use(card),
            where=where(card),
            battery_v=card.battery_v,
            heard_for_s=heard_for_s,
        )
    return found


def battery(round_: Round) -> Verdicts:
    """Whether each probe's battery is low."""
    settings = round_.ground.settings
    found = {}
    for card in round_.probes:
        volts, newest_ms = card.battery_v, last_ms(card)
        silent = newest_ms is None or round_.now_ms - newest_ms > settings["quiet.after_s"] * 1000
        cell = volts is not None and not silent and ONE_CELL_V[0] <= volts <= ONE_CELL_V[1]
        found[a_probe(card)] = battery_verdict(
            volts if cell else None,
            in_use=in_use(card),
            below_v=settings["battery.below_v"],
            close_above_v=settings["battery.close_above_v"],
            trend=card.health.battery_way,
        )
    return found


def faulty(round_: Round) -> Verdicts:
    """Whether a head of each probe has a lasting fault."""
    return of_each(round_.probes, a_probe, lambda card: _faulty(round_, card))


def _faulty(round_: Round, card: ProbeCard) -> Verdict:
    heads = _heads(round_, card, FAULTY_BACK_MS)
    faults = [fault for head in heads for found in _lasting(round_, head).values() for fault in found]
    measured = any(head.time_s.size for head in heads)
    return faults_verdict(
        faults,
        in_use=in_use(card),
        measured=measured,
        well="no head of it is faulty",
        held="" if faults else _not_well_yet(heads),
        why_blind="" if faults else _unseen(round_, card, heads),
    )


def _not_well_yet(heads: list[HeadSeries]) -> str:
    """Which heads measured too much in their last hours that was faulty to be called well."""
    names = [head.label for head in heads if any(_often_odd(head, column) for column in MEASURED)]
    return f"head {list_words(sorted(names))} was faulty now and then in its last hours" if names else ""


def _often_odd(head: HeadSeries, column: str) -> bool:
    known, odd = _known_and_odd(head, column)
    return odd.sum() >= LEAST_READINGS and bool(odd.sum() > MOST_ODD_PART / 2 * known.sum())


def _unseen(round_: Round, card: ProbeCard, heads: list[HeadSeries]) -> str:
    """Which heads that were faulty when this was told have measured nothing of the kind lately."""
    opened_ms = round_.open_since_ms("faulty", a_probe(card))
    if opened_ms is None:
        return ""
    well = {
        (head.label, column)
        for head in heads
        for column in MEASURED
        if np.greater(*_known_and_odd(head, column)).any()  # known, and not odd
    }
    then = _heads(round_, card, FAULTY_BACK_MS, opened_ms)
    was = {(head.label, column) for head in then for column, found in _lasting(round_, head).items() if found}
    names = list_words(sorted({label for label, _ in was - well}))
    return f"head {names} has measured nothing usable since its fault" if names else ""


def _known_and_odd(head: HeadSeries, column: str) -> tuple[BoolArray, BoolArray]:
    known = ~np.isnan(head.values(column))
    return known, known & ((head.flags[column] & LEFT_OUT & ~int(Flag.FROZEN | Flag.SPIKE)) != 0)


def _lasting(round_: Round, head: HeadSeries) -> dict[str, list[HeadFault]]:
    """Faults that more than half of the last six hours' readings show, up to the newest; by column."""
    found = {}
    for column in MEASURED:
        known, odd = _known_and_odd(head, column)
        if odd.sum() < LEAST_READINGS or odd.sum() <= MOST_ODD_PART * known.sum():
            continue
        values, flags = head.values(column), head.flags[column]
        told = flag_troubles(head.label, column, head.time_s, values, flags, round_.ground.display)
        found[column] = [
            HeadFault(head.label, str(t.fault), t.reason, t.do)
            for t in told
            if t.fault in FAULTS and t.lasting
        ]
    return found


def pulled(round_: Round) -> Verdicts:
    """Whether a head of each probe is out of its mix."""
    return of_each(round_.probes, a_probe, lambda card: _pulled(round_, card))


def _pulled(round_: Round, card: ProbeCard) -> Verdict:
    heads = _heads(round_, card, LOOK_BACK_MS)
    faults = [_pulled_fault(head, out) for head in heads for out in _out(round_, card, head) if out.lasting]
    measured = any(head.time_s.size for head in heads)
    return faults_verdict(
        faults,
        in_use=in_use(card),
        measured=measured,
        well="its heads are in their mix",
        held="" if faults else _still_out(round_, card, heads),
    )


def _out(round_: Round, card: ProbeCard, head: HeadSeries) -> list[Misplaced]:
    placed = next((h for h in card.heads if h.head == head.label), None)
    tray_id = round_.ground.facts.tray_of_head(placed.head_id, round_.now_ms) if placed else None
    mix = None if tray_id is None else round_.ground.mix_of(tray_id, round_.now_ms)
    parts = head.unbroken()
    if mix is None or not parts:
        return []
    newest = parts[-1]
    return pulled_out(newest.time_s, newest.clean("moisture_m3_m3"), mix.dry_line_m3_m3)


def _pulled_fault(head: HeadSeries, out: Misplaced) -> HeadFault:
    fell = f"its moisture fell at once from {out.before_m3_m3:.2f} to {out.after_m3_m3:.2f} m³/m³"
    return HeadFault(head.label, "out of its mix", fell, Fault.PULLED_OUT.do)


def _still_out(round_: Round, card: ProbeCard, heads: list[HeadSeries]) -> str:
    """Which heads that were out when this was told have not got back since; its fall may be out of sight."""
    opened_ms = round_.open_since_ms("pulled", a_probe(card))
    if opened_ms is None:
        return ""
    now = {head.label: head for head in heads}
    then = _heads(round_, card, LOOK_BACK_MS, opened_ms)
    out = [(head.label, each) for head in then for each in _out(round_, card, head) if each.lasting]
    names = list_words(
        dict.fromkeys(
            label for label, each in out if not (label in now and _is_back(now[label], each, opened_ms))
        )
    )
    return f"head {names}: its moisture has not come back since it fell" if names else ""


def _is_back(head: HeadSeries, out: Misplaced, opened_ms: int) -> bool:
    """Whether a head has regained its moisture since, or stands in another place or mix."""
    times_s, wet = head.used("moisture_m3_m3")
    later = times_s * 1000 > opened_ms
    anew = any(at_s * 1000 > opened_ms for at_s in head.breaks_s)
    return anew or bool((wet[later] >= out.back_m3_m3()).any())


def clock(round_: Round) -> Verdicts:
    """Whether each probe dates what it sends wrongly, or says that it is not sure."""
    return of_each(round_.probes, a_probe, lambda card: _clock(round_, card))


def _clock(round_: Round, card: ProbeCard) -> Verdict:
    newest_ms = last_ms(card)
    # A played garden has no clock but its readings': what is old arrives now, one probe before another.
    real = round_.ground.settings["host.clock"] == "system"
    faults = []
    if newest_ms is not None and real and newest_ms > round_.now_ms + AHEAD_MS:
        faults.append(HeadFault(card.probe, "clock ahead", "it dates readings in the future", CLOCK_DO))
    elif newest_ms is not None and real and card.last_seen_ms - newest_ms > BEHIND_MS:
        faults.append(
            HeadFault(card.probe, "clock behind", "what it sends is dated a day and more ago", CLOCK_DO)
        )
    elif newest_ms is not None and _says_unsure(round_, card, newest_ms):
        faults.append(
            HeadFault(
                card.probe, "clock unsure", "it says its time may be off by over half a minute", CLOCK_DO
            )
        )
    return faults_verdict(
        faults, in_use=in_use(card), measured=newest_ms is not None, well="its readings are dated well"
    )


def _says_unsure(round_: Round, card: ProbeCard, newest_ms: int) -> bool:
    said = [
        text
        for head in card.heads
        if head.last_reading_ms == newest_ms
        for text in reading_store.extras(round_.ground.tx, head.head_id, newest_ms, newest_ms + 1).values()
    ]
    return any(UNSURE in text for text in said)


def _heads(round_: Round, card: ProbeCard, back_ms: int, until_ms: int | None = None) -> list[HeadSeries]:
    """What the heads of a probe measured until then (now), in the trays where they are now."""
    ground, labels = round_.ground, {head.head for head in card.heads}
    trays = {
        t for head in card.heads if (t := ground.facts.tray_of_head(head.head_id, ground.now_ms)) is not None
    }
    end_ms = ground.now_ms if until_ms is None else until_ms
    span = end_ms - back_ms, end_ms + 1
    return [s for t in sorted(trays) for s in ground.tray_series(t, *span) if s.label in labels]
