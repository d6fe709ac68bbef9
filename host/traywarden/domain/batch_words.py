"""What a grower is told of a batch, and of two batches side by side."""

from traywarden.domain.batch_comparison import BatchComparison, Numbers, Timing, Verdict
from traywarden.domain.germination_metrics import GerminationMetrics
from traywarden.domain.proportions import Share

FEW_AT_ONCE = 0.001


def batch_sentence(name: str, metrics: GerminationMetrics | None, share: Share | None) -> str:
    """“Tomato in A1: 40 of 50 seeds came up, 80 % (67 to 89 %). Half of those up were up after 5.9 days …”"""
    if metrics is None:
        return f"{name}: not counted yet."
    if metrics.counted == 0:
        seeds = f" of {share.total} seeds" if share else ""
        return f"{name}: none{seeds} had come up at the last count."
    if share is None:
        said = f"{name}: {metrics.counted} came up; how many seeds were sown is not known."
    else:
        said = (
            f"{name}: {share.count} of {share.total} seeds came up, {share.estimate * 100:.0f} % "
            f"({share.low * 100:.0f} to {share.high * 100:.0f} %)."
        )
    if metrics.t50_farooq_d is not None:
        said += f" Half of them were up after {days_words(metrics.t50_farooq_d)}"
        if metrics.t10_d is not None and metrics.t90_d is not None and metrics.t90_d > metrics.t10_d:
            said += f", four in five within {days_words(metrics.t90_d - metrics.t10_d)} of each other"
        said += "."
    return said


def comparison_sentences(found: BatchComparison, a: str, b: str) -> list[str]:
    """In how many came up and in how soon, one sentence or two each."""
    told = [found.reason[:1].upper() + found.reason[1:] + "." if found.numbers is None else ""]
    if found.numbers is not None:
        told = [_numbers(found.numbers, a, b)]
    return [*told, _timing(found.timing, a, b)]


def days_words(days_d: float) -> str:
    """A stretch of days as precisely as counts of days bear.

    >>> days_words(5.94), days_words(1.0), days_words(0.44)
    ('5.9 days', '1 day', '0.4 days')
    """
    text = f"{days_d:.1f}".removesuffix(".0")
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


def _numbers(found: Numbers, a: str, b: str) -> str:
    diff = found.difference
    seen = f"{found.a_up} of {found.a_sown} against {found.b_up} of {found.b_sown}"
    if found.verdict in (Verdict.A, Verdict.B):
        more, less = (a, b) if found.verdict is Verdict.A else (b, a)
        sign = 100 if found.verdict is Verdict.A else -100
        low, high = sorted((sign * diff.low, sign * diff.high))
        return (
            f"More of {more} came up than of {less}: {seen}, {sign * diff.estimate:.0f} of 100 seeds more "
            f"({low:.0f} to {high:.0f}). "
            f"Chance alone makes such a difference {chance_words(diff.p_value)}."
        )
    if found.verdict is Verdict.ALIKE:
        reach = max(abs(diff.low), abs(diff.high)) * 100
        return f"As many of {a} came up as of {b}: {seen}, alike to within {reach:.0f} of 100 seeds."
    return (
        f"Whether more of {a} or of {b} came up cannot be told: {seen} "
        f"({_signed(diff.low)} to {_signed(diff.high)} of 100 seeds); chance alone does that "
        f"{chance_words(diff.p_value)}.{_needed(found.times_more)}"
    )


def _timing(found: Timing, a: str, b: str) -> str:
    if found.sooner_d is None or found.low_d is None or found.high_d is None or found.log_rank is None:
        return f"Which came up sooner cannot be told: {found.reason}."
    chance = chance_words(found.log_rank.p_value)
    if found.verdict in (Verdict.A, Verdict.B):
        sooner, later = (a, b) if found.verdict is Verdict.A else (b, a)
        sign = 1 if found.verdict is Verdict.A else -1
        low_d, high_d = sorted((sign * found.low_d, sign * found.high_d))
        if low_d < 0:
            ends = _minus(f"{low_d:+.1f} to {high_d:+.1f}")
            return (
                f"{sooner} came up sooner on the whole than {later}, "
                f"which is unlikely to be chance ({chance}); by how much is not clear: half of it was up "
                f"about {days_words(abs(found.sooner_d))} sooner ({ends} days)."
            )
        return (
            f"{sooner} came up about {days_words(abs(found.sooner_d))} sooner than {later} "
            f"({low_d:.1f} to {high_d:.1f}); that is unlikely to be chance ({chance})."
        )
    if found.verdict is Verdict.ALIKE:
        reach_d = max(abs(found.low_d), abs(found.high_d))
        return f"{a} and {b} came up at the same time, to within {days_words(reach_d)}."
    if found.reason:
        return f"Which came up sooner cannot be told: {found.reason} (chance alone: {chance})."
    return (
        f"Which came up sooner cannot be told: half of {a} was up "
        f"{days_words(abs(found.sooner_d))} {'sooner' if found.sooner_d >= 0 else 'later'} "
        f"({_minus(f'{found.low_d:+.1f} to {found.high_d:+.1f}')} days); "
        f"chance alone does that {chance}.{_needed(found.times_more)}"
    )


def _signed(share: float) -> str:
    return _minus(f"{share * 100:+.0f}")


def _minus(text: str) -> str:
    return text.replace("-", "−")


def _needed(times_more: float | None) -> str:
    if times_more is None:
        return ""
    return f" Were the difference real, about {max(2, round(times_more))} times as many seeds would show it."
