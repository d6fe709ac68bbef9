"""A frame and plants under cover in sentences and tables."""

from datetime import UTC, datetime
from zoneinfo import ZoneInfo

from traywarden.domain.bootstrap import Interval
from traywarden.domain.clock_words import day_words
from traywarden.domain.frames import HotSpell, Quartiles
from traywarden.domain.units import Display, bare, number
from traywarden.services.questions.answer_table import AnswerTable
from traywarden.services.questions.frame import FrameAnswer, SeenOpening
from traywarden.services.questions.harden import HardenAnswer
from traywarden.services.questions.place_words import bare_difference, bare_temp, mean_and_ends

QUARTILES_FROM, LONGEST_WHY = 4, 14
YES_NO = {True: "yes", False: "no", None: "–"}


def frame_lines(answer: FrameAnswer, display: Display) -> list[str]:
    """How long it was hot, how often that was answered, and at what temperature it opened."""
    work = answer.work
    above = f"{display.limit(answer.vent_above_c)} (frames.vent_above_c, common practice)"
    if work.spells:
        lines = [
            f"Above {above}: {answer.hot_h:.1f} of {answer.known_h:.0f} h measured, in "
            f"{_times(len(work.spells), 'spell')}; {_count(work.answered)} answered by an opening.",
            f"Opened on {_count(work.days)} days that were hot or had an opening{_share(work.days)}.",
        ]
    else:
        lines = [f"Never long above {above} in {answer.known_h:.0f} h."]
    if work.opened_at_c.n:
        lines.append(
            f"It opened at {_quartiles(work.opened_at_c, display)}"
            + (f" and closed at {_quartiles(work.closed_at_c, display)}" if work.closed_at_c.n else "")
            + (" (the middle half)." if work.opened_at_c.n >= QUARTILES_FROM else ".")
        )
    return lines


def openings_table(answer: FrameAnswer, display: Display) -> AnswerTable:
    return AnswerTable(
        ("opened", "closed", f"at, °{display.temperature}", "outside", "fell by", "known from", "note"),
        [_opening(row, display) for row in answer.openings],
    )


def spells_table(answer: FrameAnswer, display: Display, zone: ZoneInfo) -> AnswerTable:
    """Hot spells that no opening answered, as far as anything knows."""
    return AnswerTable(
        ("day", "from", "to", "hottest"),
        [_spell(spell, zone, display) for spell in answer.work.spells if not spell.answered],
    )


def harden_table(answer: HardenAnswer, display: Display) -> AnswerTable:
    """The plants' air against that of the open place, on average."""
    found = answer.hardening
    return AnswerTable(
        ("", "on average", "interval"),
        [
            ("night low", *mean_and_ends(found.low_difference_c, display.temp_difference)),
            ("daily range", *mean_and_ends(found.range_difference_c, display.temp_difference)),
            ("drying air", *mean_and_ends(found.demand_part, lambda part: f"{part:.2f} times")),
        ],
    )


def harden_days_table(answer: HardenAnswer, display: Display) -> AnswerTable:
    """Day by day, each as a pair of the plants' and the open place's; a long reason is a remark."""
    degree, days = f"°{display.temperature}", answer.hardening.days
    return AnswerTable(
        ("day", f"low, {degree}", f"range, {degree}", "air, kPa", "as outdoors", "because"),
        [
            (
                day_words(day.day, days[-1].day),
                _pair(bare_temp(day.low_c, display), bare_temp(day.open_low_c, display)),
                _pair(bare_difference(day.range_c, display), bare_difference(day.open_range_c, display)),
                _pair(number(day.vpd_kpa, 2), number(day.open_vpd_kpa, 2)),
                YES_NO[day.outdoors],
                day.why if len(day.why) <= LONGEST_WHY else "",
            )
            for day in days
        ],
        remarks=[(day.why if len(day.why) > LONGEST_WHY else "",) for day in days],
    )


def stood_lines(answer: HardenAnswer) -> list[str]:
    """What the pairs of the table are, and where the tray stood."""
    return [
        f"Each pair: {answer.subject} / {answer.against}.",
        *(f"It stood {days} {'day' if days == 1 else 'days'} in {place}." for place, days in answer.stood),
    ]


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
