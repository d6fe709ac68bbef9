"""What a grower is told of a batch, and of two batches side by side."""

from traywarden.domain.batch_comparison import Basis, BatchComparison, Numbers, Timing, Verdict
from traywarden.domain.batches import Batch, Reached
from traywarden.domain.proportions import Share

FEW_AT_ONCE = 0.001


def batch_sentence(name: str, batch: Batch, share: Share | None) -> str:
    """“Tomato in A1: 40 of 50 seeds came up, 80 % (67 to 89 %). Half of them were up after 5.9 days …”"""
    if batch.watched_d is None:
        return f"{name}: not counted yet."
    if batch.up == 0:
        seeds = f" of {share.total} seeds" if share else ""
        return (
            f"{name}: none{seeds} had come up at the last count, {days_words(batch.watched_d)} after sowing."
        )
    came = "up so far" if batch.still_rising else "came up"
    if share is None:
        said = f"{name}: {batch.up} {came}; how many seeds were sown is not known."
    else:
        said = (
            f"{name}: {share.count} of {share.total} seeds {came}, {share.estimate * 100:.0f} % "
            f"({share.low * 100:.0f} to {share.high * 100:.0f} %)."
        )
    return f"{said} {half_sentence(batch)}"


def half_sentence(batch: Batch) -> str:
    """When half of those up were up: by the day where the visits bear it, else between which visits."""
    half = batch.reached(0.5)
    if half is None:
        return ""
    if half.at_d is not None:
        said = f"Half of them were up after {days_words(half.at_d)}"
        if batch.spread_d:
            said += f", four in five within {days_words(batch.spread_d)} of each other"
        return f"{said}."
    at_once = batch.between().count.size == 1
    if half.from_d > 0:
        who = "All of them came" if at_once else "Half of them were"
        return f"{who} up between {_day(half.from_d)} and {days_words(half.to_d)} after sowing."
    who = "All of them" if at_once else "Half of them or more"
    return (
        f"{who} were up at the first count, {days_words(half.to_d)} after sowing; nobody had counted before."
    )


def comparison_sentences(found: BatchComparison, a: str, b: str) -> list[str]:
    """In how many came up and in how soon, one sentence or two each."""
    told = [found.reason[:1].upper() + found.reason[1:] + "." if found.numbers is None else ""]
    if found.numbers is not None:
        told = [_numbers(found.numbers, a, b, rising=found.rising)]
    return [*told, _timing(found.timing, a, b)]


def days_words(days_d: float) -> str:
    """A stretch of days as precisely as counts of days bear.

    >>> days_words(5.94), days_words(1.0), days_words(0.44)
    ('5.9 days', '1 day', '0.4 days')
    """
    text = _day(days_d)
    return f"{text} day" if text == "1" else f"{text} days"


def chance_words(p_value: float) -> str:
    """How often chance alone does it.

    >>> chance_words(0.0072), chance_words(0.00002), chance_words(0.3)
    ('1 time in 140', 'less than 1 time in 1000', '3 times in 10')
    """
    if p_value < FEW_AT_ONCE:
        return "less than 1 time in 1000"
    if p_value > 0.1:
        return f"{max(1, min(9, round(p_value * 10)))} times in 10".replace("1 times", "1 time")
    times = 1 / p_value
    step = 10 ** max(0, len(str(round(times))) - 2)
    return f"1 time in {round(times / step) * step}"


def _numbers(found: Numbers, a: str, b: str, *, rising: bool) -> str:
    diff = found.difference
    last = found.basis is Basis.LAST
    by, had = (f"By day {found.a_d:.0f} ", "had come up") if rising and not last else ("", "came up")
    one, other = (
        f"{limit} {up} of {sown}".strip() + (f" by day {day_d:.0f}" if last else "")
        for limit, up, sown, day_d in (
            (found.a_limit, found.a_up, found.a_sown, found.a_d),
            (found.b_limit, found.b_up, found.b_sown, found.b_d),
        )
    )
    if found.verdict in (Verdict.A, Verdict.B):
        first = found.verdict is Verdict.A
        more, less = (a, b) if first else (b, a)
        seen = f"{one} against {other}" if first else f"{other} against {one}"
        sign = 100 if first else -100
        low, high = sorted((sign * diff.low, sign * diff.high))
        return (
            f"{_first(by, 'more')} of {more} {had} than of {less}: {seen}, "
            f"{sign * diff.estimate:.0f} of 100 seeds more ({low:.0f} to {high:.0f}). "
            f"Chance alone makes such a difference {chance_words(diff.p_value)}."
        )
    if found.verdict is Verdict.ALIKE:
        reach = max(abs(diff.low), abs(diff.high)) * 100
        return (
            f"{_first(by, 'as')} many of {a} {had} as of {b}: {one} against {other}, "
            f"alike to within {reach:.0f} of 100 seeds."
        )
    cannot = f"Whether more of {a} or of {b} came up cannot be told: {one} against {other}"
    if found.reason:
        count = " Count both on one day." if last else ""
        return f"{cannot}; {found.reason}.{count}"
    so_far = f" by day {found.a_d:.0f}" if by else ""
    return (
        f"{cannot}{so_far} ({_signed(diff.low)} to {_signed(diff.high)} of 100 seeds); "
        f"chance alone does that {chance_words(diff.p_value)}.{_needed(found.times_more)}"
    )


def _first(by: str, word: str) -> str:
    return by + word if by else word.capitalize()


def _timing(found: Timing, a: str, b: str) -> str:
    if found.low_d is None or found.high_d is None or found.log_rank is None:
        return f"Which came up sooner cannot be told: {found.reason}."
    chance = chance_words(found.log_rank.p_value)
    if found.sooner_d is None and found.verdict is not Verdict.ALIKE:
        return _seldom(found, a, b, chance)
    if found.verdict in (Verdict.A, Verdict.B):
        return _sooner(found, a, b, chance)
    if found.verdict is Verdict.ALIKE:
        reach_d = max(abs(found.low_d), abs(found.high_d))
        return f"{a} and {b} came up at the same time, to within {days_words(reach_d)}."
    if found.reason:
        return f"Which came up sooner cannot be told: {found.reason} (chance alone: {chance})."
    sooner_d = found.sooner_d or 0.0
    return (
        f"Which came up sooner cannot be told: half of {a} was up "
        f"{days_words(abs(sooner_d))} {'sooner' if sooner_d >= 0 else 'later'} "
        f"({_minus(f'{found.low_d:+.1f} to {found.high_d:+.1f}')} days); "
        f"chance alone does that {chance}.{_needed(found.times_more)}"
    )


def _sooner(found: Timing, a: str, b: str, chance: str) -> str:
    sooner, later = (a, b) if found.verdict is Verdict.A else (b, a)
    sign = 1 if found.verdict is Verdict.A else -1
    low_d, high_d = sorted((sign * (found.low_d or 0.0), sign * (found.high_d or 0.0)))
    by_d = days_words(abs(found.sooner_d or 0.0))
    if low_d < 0:
        ends = _minus(f"{low_d:+.1f} to {high_d:+.1f}")
        return (
            f"{sooner} came up sooner on the whole than {later}, "
            f"which is unlikely to be chance ({chance}); by how much is not clear: half of it was up "
            f"about {by_d} sooner ({ends} days)."
        )
    return (
        f"{sooner} came up about {by_d} sooner than {later} "
        f"({low_d:.1f} to {high_d:.1f}); that is unlikely to be chance ({chance})."
    )


def _seldom(found: Timing, a: str, b: str, chance: str) -> str:
    """Where the visits lay too far apart to say by how many days."""
    a_when, b_when = (_when(half) for half in (found.a_half, found.b_half))
    halves = f"half of {a} was up {a_when}, half of {b} {b_when}"
    if found.verdict is Verdict.UNKNOWN:
        return (
            f"Which came up sooner cannot be told, as nobody looked often enough: {halves}; "
            f"chance alone does that {chance}."
        )
    sooner, later = (a, b) if found.verdict is Verdict.A else (b, a)
    return (
        f"{sooner} came up sooner than {later}, which is unlikely to be chance ({chance}); "
        f"by how much is not known, as nobody looked often enough: {halves}."
    )


def _when(half: Reached | None) -> str:
    if half is None:
        return "never"
    if half.at_d is not None:
        return f"after {days_words(half.at_d)}"
    return (
        f"between day {_day(half.from_d)} and {_day(half.to_d)}"
        if half.from_d
        else f"before day {_day(half.to_d)}"
    )


def _day(age_d: float) -> str:
    return f"{age_d:.1f}".removesuffix(".0")


def _signed(share: float) -> str:
    return _minus(f"{share * 100:+.0f}")


def _minus(text: str) -> str:
    return text.replace("-", "−")


def _needed(times_more: float | None) -> str:
    if times_more is None:
        return ""
    return f" Were the difference real, about {max(2, round(times_more))} times as many seeds would show it."
