"""What readings show of the mixes, in sentences and tables."""

from collections.abc import Sequence

from traywarden.domain.dry_down import LN2
from traywarden.domain.mix_advice import Finding
from traywarden.domain.units import list_words, number
from traywarden.services.questions.answer_table import AnswerTable
from traywarden.services.questions.dry_down import DryDownAnswer, Median, Stretch
from traywarden.services.questions.mix_advice import MixAdviceAnswer
from traywarden.services.questions.mixes import BY_HOUR, MixCompareAnswer
from traywarden.services.questions.soaked import MixSoaked, SoakedAnswer

_SAME = {"place": "in the same places", "demand": "under the same demand", "moisture": "as wet"}
MEDIAN_WORDS = (
    "Median [95 % interval]. Half-way: when half of the water that can dry off is gone. A day: % of "
    "container capacity lost in a day, midway between capacity and dry line; then for each kPa of "
    "vapour-pressure deficit of the air."
)


def medians_table(answer: DryDownAnswer) -> AnswerTable:
    """How fast each mix dries: medians over its stretches."""
    return AnswerTable(
        ("mix", "half-way, days", "a day, %", "a day and kPa, %", "stretches", "trays", "too short"),
        [
            (
                m.mix,
                median_words(m.tau_days, LN2),
                median_words(m.rate_pct_per_day),
                median_words(m.rate_pct_per_day_kpa),
                f"{m.stretches}",
                f"{m.trays}",
                f"{m.too_short}" if m.too_short else "",
            )
            for m in answer.mixes
        ],
        right=("stretches", "trays", "too short"),
        remarks=[(m.reason,) for m in answer.mixes],
    )


def stretches_table(stretches: Sequence[Stretch]) -> AnswerTable:
    """Every stretch between two wettings."""
    return AnswerTable(
        ("tray", "from", "days", "moisture, %", "half-way, days", "a day, %", "r²", "air, kPa"),
        [
            (
                s.tray,
                f"{s.start.day:2d} {s.start:%b %H:%M}",
                number(s.days),
                f"{s.first_pct:.0f} → {s.last_pct:.0f}",
                number(s.half_life_days),
                number(s.rate_pct_per_day),
                number(s.r2, 3),
                number(s.mean_vpd_kpa, 2),
            )
            for s in stretches
        ],
        right=("from", "days", "half-way, days", "a day, %", "r²", "air, kPa"),
        remarks=[(s.reason,) for s in stretches],
    )


def pair_table(found: MixCompareAnswer) -> AnswerTable:
    """Both mixes of a comparison: what they lose, and how long they stay soaked."""
    per = "lost, % a day"
    return AnswerTable(
        ("mix", per, "soaked after watering, h", "waterings", "stretches", "trays"),
        [
            (
                mix.mix,
                number(mix.loss_pct_per_day),
                _hours_words(mix.soaked_h, mix.soaked_low_h, mix.soaked_high_h),
                f"{mix.waterings}",
                f"{mix.stretches}",
                f"{mix.trays}",
            )
            for mix in (found.a, found.b)
        ],
        right=(per, "waterings", "stretches", "trays"),
        remarks=[(mix.reason,) for mix in (found.a, found.b)],
    )


def pair_lines(found: MixCompareAnswer) -> list[str]:
    """What “lost” means, and what these very trays did on the same days."""
    day = "a day" if found.equal == BY_HOUR else "a usual day of 3.6 mm"
    same = list_words(_SAME[name] for name in found.comparison.allowed_for) if found.comparison.ratio else ""
    under = f", both {same}" if same else ""
    lost = f"Lost: % of container capacity in {day}{under}; demand by {found.equal}."
    return [lost, _side_by_side(found)]


def _side_by_side(found: MixCompareAnswer) -> str:
    """What these very trays did on the same days, and why that may sound surer than the verdict."""
    side = found.side_by_side
    if side.ratio is None:
        return f"Side by side: {side.reason}."
    if side.low is None or side.high is None:
        span = side.reason
    else:
        span = f"{side.low:.2f}–{side.high:.2f} over days"
    days = f"{side.days} day{'s' * (side.days != 1)} ({', '.join(side.places)})"
    lost = f"{found.a.mix} lost {side.ratio:.2f} times what {found.b.mix} lost ({span})"
    sure = side.low is not None and side.high is not None and not side.low <= 1 <= side.high
    but = "; but another tray of the same mix may differ, so the verdict stays open"
    return f"Side by side on {days}: {lost}{but if sure and not found.comparison.told else ''}."


def soaked_table(answer: SoakedAnswer) -> AnswerTable:
    """How long each mix stays soaked after a watering."""
    return AnswerTable(
        ("mix", "soaked after watering, h", "waterings", "trays", "not ended"),
        [
            (
                mix.mix,
                soaked_words(mix),
                f"{mix.waterings}",
                f"{mix.trays}",
                f"{mix.open_ended}" if mix.open_ended else "",
            )
            for mix in answer.mixes
        ],
        right=("waterings", "trays", "not ended"),
        remarks=[(mix.reason,) for mix in answer.mixes],
    )


def waterings_table(answer: SoakedAnswer) -> AnswerTable:
    """Every watering after which a mix was soaked."""
    return AnswerTable(
        ("mix", "tray", "watered", "soaked, h"),
        [
            (
                w.mix,
                w.tray,
                f"{w.at.day:2d} {w.at:%b %H:%M}",
                f"{'' if w.ended else 'at least '}{w.soaked_h:.0f}",
            )
            for w in answer.waterings
        ],
        right=("watered", "soaked, h"),
    )


def soaked_words(mix: MixSoaked) -> str:
    """Hours that it stays soaked after a watering, with their interval."""
    return _hours_words(mix.soaked_h, mix.low_h, mix.high_h)


def _hours_words(middle_h: float | None, low_h: float | None, high_h: float | None) -> str:
    if middle_h is None:
        return "–"
    if low_h is None:
        return f"{middle_h:.0f}"
    high = "longer than seen" if high_h is None else f"{high_h:.0f}"
    return f"{middle_h:.0f} [{low_h:.0f}–{high}]"


def untold_lines(answer: MixAdviceAnswer) -> list[str]:
    """How many waterings there were in weather of which too few tell anything."""
    untold: dict[str, list[str]] = {}
    for line in answer.lines:
        if line.finding == Finding.UNKNOWN:
            untold.setdefault(line.when, []).append(f"{line.waterings} of {line.mix}")
    return [f"in {when} there were {list_words(mixes)}." for when, mixes in untold.items()]


def median_words(found: Median, factor: float = 1.0) -> str:
    if found.median is None:
        return "–"
    text = _brief(found.median * factor)
    if found.low is None or found.high is None:
        return text
    return f"{text} [{_brief(found.low * factor)}–{_brief(found.high * factor)}]"


def _brief(value: float) -> str:
    """Two figures that count: more would promise more than a handful of stretches can tell."""
    return f"{value:.1f}" if value < 10 else f"{value:.0f}"
