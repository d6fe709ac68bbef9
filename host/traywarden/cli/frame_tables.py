"""A frame and plants under cover as a grower reads about them."""

from datetime import UTC, datetime
from zoneinfo import ZoneInfo

from traywarden.cli.asking import bare, number
from traywarden.cli.place_words import bare_difference, bare_temp, mean_and_ends
from traywarden.cli.tables import Notes, print_table, say
from traywarden.domain.bootstrap import Interval
from traywarden.domain.clock_words import day_words
from traywarden.domain.frames import HotSpell, Quartiles
from traywarden.domain.units import Display
from traywarden.services.questions.frame import FrameAnswer, SeenOpening
from traywarden.services.questions.harden import HardenAnswer

QUARTILES_FROM, LONGEST_WHY = 4, 14
YES_NO = {True: "yes", False: "no", None: "–"}


def print_frame(answer: FrameAnswer, display: Display, zone: ZoneInfo) -> None:
    say(answer.sentence)
    if answer.night:
        say(answer.night)
    work = answer.work
    above = display.limit(answer.vent_above_c)
    if work.spells:
        say(
            f"\nAbove {above} (frames.vent_above_c, common practice): {answer.hot_h:.1f} of "
            f"{answer.known_h:.0f} h measured, in {_times(len(work.spells), 'spell')}; "
            f"{_count(work.answered)} answered by an opening."
        )
        say(f"Opened on {_count(work.days)} days that were hot or had an opening{_share(work.days)}.")
    else:
        say(f"\nNever long above {above} (frames.vent_above_c, common practice) in {answer.known_h:.0f} h.")
    if work.opened_at_c.n:
        say(
            f"It opened at {_quartiles(work.opened_at_c, display)}"
            + (f" and closed at {_quartiles(work.closed_at_c, display)}" if work.closed_at_c.n else "")
            + (" (the middle half)." if work.opened_at_c.n >= QUARTILES_FROM else ".")
        )
    if answer.openings:
        say("")
        print_table(
            ("opened", "closed", f"at, °{display.temperature}", "outside", "fell by", "known from", "note"),
            [_opening(row, display) for row in answer.openings],
        )
    hot = [spell for spell in work.spells if not spell.answered]
    if hot:
        say("\nHot spells without an opening that shows:")
        print_table(("day", "from", "to", "hottest"), [_spell(s, zone, display) for s in hot])
    for remark in answer.remarks:
        say(f"{remark[:1].upper()}{remark[1:]}.")


def print_harden(answer: HardenAnswer, display: Display) -> None:
    say(answer.sentence)
    for line in answer.nights:
        say(f"{line}.")
    found = answer.hardening
    say(f"\n{answer.subject} against {answer.against} [95 % interval]:")
    print_table(
        ("", "on average", "interval"),
        [
            ("night low", *mean_and_ends(found.low_difference_c, display.temp_difference)),
            ("daily range", *mean_and_ends(found.range_difference_c, display.temp_difference)),
            ("drying air", *mean_and_ends(found.demand_part, lambda part: f"{part:.2f} times")),
        ],
    )
    say("")
    degree = f"°{display.temperature}"
    notes = Notes()
    print_table(
        ("day", f"low, {degree}", f"range, {degree}", "air, kPa", "as outdoors", "because", ""),
        [
            (
                day_words(day.day, found.days[-1].day),
                _pair(bare_temp(day.low_c, display), bare_temp(day.open_low_c, display)),
                _pair(bare_difference(day.range_c, display), bare_difference(day.open_range_c, display)),
                _pair(number(day.vpd_kpa, 2), number(day.open_vpd_kpa, 2)),
                YES_NO[day.outdoors],
                day.why if len(day.why) <= LONGEST_WHY else "",
                notes.mark(day.why if len(day.why) > LONGEST_WHY else ""),
            )
            for day in found.days
        ],
    )
    notes.say()
    say(f"Each pair: {answer.subject} / {answer.against}.")
    for place, days in answer.stood:
        say(f"It stood {days} {'day' if days == 1 else 'days'} in {place}.")
    for remark in answer.remarks:
        say(f"{remark[:1].upper()}{remark[1:]}.")


def _pair(here: str, there: str) -> str:
    return "–" if here == there == "–" else f"{here} / {there}"


def _opening(row: SeenOpening, display: Display) -> tuple[str, ...]:
    return (
        f"{day_words(row.opened, row.opened)} {row.opened:%H:%M}",
        "–" if row.closed is None else f"{row.closed:%H:%M}",
        bare_temp(row.opened_at_c, display),
        bare_temp(row.outside_c, display),
        "–" if row.fell_pct is None else f"{row.fell_pct:.0f} %",
        row.known_from,
        row.note,
    )


def _spell(spell: HotSpell, zone: ZoneInfo, display: Display) -> tuple[str, ...]:
    start, end = (datetime.fromtimestamp(at_s, UTC).astimezone(zone) for at_s in (spell.start_s, spell.end_s))
    return day_words(start, start), f"{start:%H:%M}", f"{end:%H:%M}", display.temp(spell.hottest_c)


def _count(share: Interval) -> str:
    done = round((share.estimate or 0.0) * share.n)
    return f"{done} of {share.n}"


def _share(share: Interval) -> str:
    if share.low is None or share.high is None:
        return ""
    return f" ({share.low * 100:.0f} to {share.high * 100:.0f} %)"


def _quartiles(found: Quartiles, display: Display) -> str:
    if found.middle is None or found.low is None or found.high is None:
        return "–"
    if found.n < QUARTILES_FROM:
        return display.temp(found.middle)
    low, high = (bare(display.temp(end)) for end in (found.low, found.high))
    return f"{display.temp(found.middle)} ({low} to {high})"


def _times(number: int, noun: str) -> str:
    return f"{number} {noun}{'s' * (number != 1)}"
