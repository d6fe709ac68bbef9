"""A frame and plants under cover as a grower reads about them."""

from datetime import UTC, datetime
from zoneinfo import ZoneInfo

from traywarden.cli.asking import bare, number
from traywarden.cli.place_words import bare_difference, bare_temp, ends, mean_and_ends
from traywarden.cli.tables import print_table, say
from traywarden.domain.bootstrap import Interval
from traywarden.domain.frames import HotSpell, Quartiles
from traywarden.domain.units import Display
from traywarden.services.questions.frame import FrameAnswer, SeenOpening
from traywarden.services.questions.harden import HardenAnswer

YES_NO = {True: "yes", False: "no", None: "–"}


def print_frame(answer: FrameAnswer, display: Display, zone: ZoneInfo) -> None:
    say(answer.sentence)
    if answer.night:
        say(answer.night)
    work = answer.work
    above = display.temp(answer.vent_above_c, 0)
    say(
        f"\nAbove {above} (frames.vent_above_c, common practice): {answer.hot_h:.1f} of "
        f"{answer.known_h:.0f} h measured, in {len(work.spells)} spells."
    )
    if work.days.n:
        say(
            f"Opened on {_count(work.days)} days that were hot or had an opening{_share(work.days)}; "
            f"{_count(work.answered)} hot spells were answered by one."
        )
    if work.opened_at_c.n:
        say(
            f"It opened at {_quartiles(work.opened_at_c, display)}"
            + (f" and closed at {_quartiles(work.closed_at_c, display)}" if work.closed_at_c.n else "")
            + " (middle, and the middle half)."
        )
    if answer.openings:
        say("")
        print_table(
            ("opened", "closed", f"at, {display.temperature}", "outside", "fell by", "known from", "note"),
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
            ("night low", *mean_and_ends(found.low_difference_c, display)),
            ("daily range", *mean_and_ends(found.range_difference_c, display)),
            (
                "drying air, times",
                number(found.demand_part.estimate, 2),
                ends(found.demand_part, 2),
            ),
        ],
    )
    say("")
    degree = f"°{display.temperature}"
    print_table(
        (
            "day",
            f"low, {degree}",
            f"{answer.against}",
            "range",
            "of it",
            "air, kPa",
            "of it",
            "as outdoors",
            "",
        ),
        [
            (
                f"{day.day}",
                bare_temp(day.low_c, display),
                bare_temp(day.open_low_c, display),
                bare_difference(day.range_c, display),
                bare_difference(day.open_range_c, display),
                number(day.vpd_kpa, 2),
                number(day.open_vpd_kpa, 2),
                YES_NO[day.outdoors],
                day.why,
            )
            for day in found.days
        ],
    )
    for place, days in answer.stood:
        say(f"It stood {days} {'day' if days == 1 else 'days'} in {place}.")
    for remark in answer.remarks:
        say(f"{remark[:1].upper()}{remark[1:]}.")


def _opening(row: SeenOpening, display: Display) -> tuple[str, ...]:
    return (
        f"{row.opened:%a %d %b %H:%M}",
        "–" if row.closed is None else f"{row.closed:%H:%M}",
        bare_temp(row.opened_at_c, display),
        bare_temp(row.outside_c, display),
        "–" if row.fell_pct is None else f"{row.fell_pct:.0f} %",
        row.known_from,
        row.note,
    )


def _spell(spell: HotSpell, zone: ZoneInfo, display: Display) -> tuple[str, ...]:
    start, end = (datetime.fromtimestamp(at_s, UTC).astimezone(zone) for at_s in (spell.start_s, spell.end_s))
    return f"{start:%a %d %b}", f"{start:%H:%M}", f"{end:%H:%M}", display.temp(spell.hottest_c)


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
    return f"{display.temp(found.middle)} ({bare(display.temp(found.low))} to {display.temp(found.high)})"
