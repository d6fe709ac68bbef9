"""Trays, looking ahead or back over days: dry before the next visit, seed late, out of level."""

from traywarden.domain.ahead_rules import TwoEnds, drying_verdict, late_verdict, tilted_verdict
from traywarden.domain.clock_words import at_clock, clock
from traywarden.domain.journal import Kind
from traywarden.domain.rules import Answer, Verdict
from traywarden.domain.subjects import Subject, a_tray
from traywarden.domain.visits import next_visit_ms, usual_visits
from traywarden.errors import ShortOfDataError, UsageError
from traywarden.services.asking.round import Round, Standing, Verdicts, of_each
from traywarden.services.drying_now import first_to_dry
from traywarden.services.questions.ground import Ground
from traywarden.services.questions.level import PairLevel, ask_level
from traywarden.services.questions.soon import when_words
from traywarden.services.questions.sowings import Sowing
from traywarden.services.questions.why_late import why_late
from traywarden.store import readings as reading_store

AT_THE_BENCH = (
    Kind.WATERED,
    Kind.SOWED,
    Kind.MOVED,
    Kind.EMERGED,
    Kind.POTTED_UP,
    Kind.PLANTED_OUT,
    Kind.VENTED,
    Kind.CLOSED,
    Kind.LEVELLED,
    Kind.NOTED,
)
"""Deeds that show when the grower was there."""
NOTHING_YET = "nothing was measured in this garden yet"


def _its(standing: Standing) -> Subject:
    return a_tray(standing.tray.tray_id)


def drying(round_: Round) -> Verdicts:
    """Whether each tray will be dry before the grower is next likely at the bench."""
    ground, settings = round_.ground, round_.ground.settings
    if not reading_store.newest(ground.tx):
        return {a_tray(t.tray.tray_id): Verdict(Answer.BLIND, NOTHING_YET) for t in round_.trays}
    done_ms = [e.at_ms for e in ground.facts.entries if e.kind in AT_THE_BENCH]
    usual = usual_visits(done_ms, ground.now_ms, ground.zone)
    hours = usual or [settings["drying.morning_h"], settings["drying.evening_h"]]
    visit_ms = next_visit_ms(hours, ground.now_ms, ground.zone)
    known = "by your journal" if usual else "as set in drying.morning_h and drying.evening_h"
    visit = f"{at_clock(ground.at(visit_ms), ground.at(ground.now_ms))} ({known})"
    return of_each(round_.trays, _its, lambda t: _drying(round_, t, visit_ms, visit))


def _drying(round_: Round, standing: Standing, visit_ms: int, visit: str) -> Verdict:
    ground, tray_id = round_.ground, standing.tray.tray_id
    if ground.facts.planted_out(tray_id, ground.now_ms):
        return Verdict(Answer.NO, "it was planted out and nothing was sown in it since", at_once=True)
    mix = ground.mix_of(tray_id, ground.now_ms)
    if mix is None or not ground.facts.heads_in_tray(tray_id, ground.now_ms, ground.now_ms + 1):
        return Verdict(Answer.BLIND, "it has no mix or no head in it")
    first = first_to_dry(round_.drying.outlooks(tray_id, with_interval=False))
    dry_in_s = None if first is None or first.outlook.in_h is None else first.outlook.in_h * 3600
    newest = None if first is None else first.head.newest_m3_m3
    return drying_verdict(
        dry_in_s,
        (visit_ms - ground.now_ms) / 1000,
        spare_s=settings_h(round_, "drying.spare_h"),
        by="" if dry_in_s is None else _by(round_, dry_in_s),
        visit=visit,
        line=f"{100 * mix.dry_line_m3_m3 / mix.container_capacity_m3_m3:.0f} % of container capacity",
        already_dry=newest is not None and newest < mix.dry_line_m3_m3,
        why_blind="" if first is None else first.outlook.reason,
    )


def settings_h(round_: Round, key: str) -> float:
    """A setting given in hours, in seconds."""
    return float(round_.ground.settings[key]) * 3600


def _by(round_: Round, dry_in_s: float) -> str:
    ground = round_.ground
    if dry_in_s <= 86_400:
        return when_words(ground.now_ms, dry_in_s, ground.zone)
    return f"{clock(ground.at(ground.now_ms + dry_in_s * 1000), ground.at(ground.now_ms))}"


def late(round_: Round) -> Verdicts:
    """Whether the seed of each tray is late."""
    return of_each(round_.trays, _its, lambda t: _late(round_, t))


def _late(round_: Round, standing: Standing) -> Verdict:
    nursery = round_.nursery
    sowing = nursery.current(standing.tray.tray_id)
    if sowing is None:
        return late_verdict(sown=False, up=False, overdue=None, crop="", sown_on="", due="")
    on = f"{round_.ground.at(sowing.entry.at_ms):%-d %b}"
    crop = sowing.crop
    named = crop.name if crop else str(sowing.entry.data.get("crop") or "seed")
    if sowing.up is not None:
        return late_verdict(sown=True, up=True, overdue=None, crop=named, sown_on=on, due="")
    if crop is None:
        why = f"{named} is not in the table of crops"
        return late_verdict(sown=True, up=False, overdue=None, crop=named, sown_on=on, due="", why_blind=why)
    return _of_crop(round_, sowing, named, on)


def _of_crop(round_: Round, sowing: Sowing, named: str, on: str) -> Verdict:
    nursery, crop = round_.nursery, sowing.crop
    assert crop is not None
    curve = nursery.curve(crop.key)
    progress = nursery.progress(sowing, curve, nursery.until_ms(sowing))
    if progress.blind:
        return late_verdict(
            sown=True, up=False, overdue=None, crop=named, sown_on=on, due="", why_blind=progress.blind
        )
    found, _ = nursery.expected(sowing, progress, None)
    by_s = found.first.high_s
    due = (
        f"nine in ten such sowings would have shown by {_day(round_, by_s)}"
        if found.overdue
        else f"{100 * found.done[1]:.0f} % of the way to half of it up"
    )
    why = why_late(nursery, sowing, crop, curve, progress) if found.overdue else []
    return late_verdict(
        sown=True, up=False, overdue=bool(found.overdue), crop=named, sown_on=on, due=due, causes=why
    )


def _day(round_: Round, at_s: float | None) -> str:
    """The day by which it was due; one that is today, or is not known to the day, is “now”."""
    at = None if at_s is None else round_.ground.at(at_s * 1000)
    known = at is not None and at.date() < round_.ground.at(round_.now_ms).date()
    return f"{at:%-d %b}" if at is not None and known else "now"


def tilted(round_: Round) -> Verdicts:
    """Whether each tray stands level, by itself or on its base; without what to compare it is left out."""
    ground = round_.ground
    try:
        answer = ask_level(ground)
    except (ShortOfDataError, UsageError):
        return {}
    by_name = {t.name: t.tray_id for t in ground.trays.values()}
    found: dict[Subject, list[TwoEnds]] = {}
    for pair in answer.pairs:
        # Of two trays on one base, the first speaks for the base.
        tray_id = by_name.get(pair.subject) if pair.compared == "heads" else by_name.get(pair.level.a.name)
        if tray_id is not None:
            subject = a_tray(tray_id)
            told_ms = round_.open_since_ms("tilted", subject)
            ends = TwoEnds(
                pair.level.verdict.value, pair.sentence, pair.level.before > 0, _put(ground, pair, told_ms)
            )
            found.setdefault(subject, []).append(ends)
    return {subject: tilted_verdict(said) for subject, said in found.items()}


PUT_IN_WORDS = {
    Kind.LEVELLED: "put level",
    Kind.MOVED: "moved",
    Kind.FILLED: "filled anew",
    Kind.ON_BASE: "set on its base anew",
}


def _put(ground: Ground, pair: PairLevel, told_ms: int | None) -> str:
    """What was done to how it stands since it was told, or written down since; empty if nothing was."""
    if pair.put is None or told_ms is None or max(pair.put.at, pair.put.written) < ground.at(told_ms):
        return ""
    return f"{PUT_IN_WORDS[Kind(pair.put.how)]} {at_clock(pair.put.at, ground.at(ground.now_ms))}"
