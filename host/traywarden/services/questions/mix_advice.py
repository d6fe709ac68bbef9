"""What to change in a mix: how long it stays wet when cool, and how long it lasts when hot."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from traywarden.domain.bootstrap import Interval
from traywarden.domain.garden import Mix
from traywarden.domain.mix_advice import AdviceLimits, Finding, MixAdvice, Weather, advise
from traywarden.errors import UsageError
from traywarden.services.questions.ground import Ground
from traywarden.services.questions.mixes import DEFAULT_DAYS, finite, gathered, uncalibrated
from traywarden.store import garden as garden_store

LIMITS_SOURCE = "common practice, no source: the settings mix.cool_below_c to mix.dry_within_h"


@dataclass(frozen=True, slots=True)
class AdviceLine:
    """One finding in words with its numbers; `when` says what counts as such weather.

    `low_h`, `high_h` None where there is no interval or no end.
    """

    mix: str
    parts: str
    weather: str
    when: str
    finding: str
    says: str
    median_h: float | None
    low_h: float | None
    high_h: float | None
    limit_h: float
    waterings: int
    open_ended: int
    air_temp_c: float | None
    advice: str
    because: str


@dataclass(frozen=True, slots=True)
class MixAdviceAnswer:
    garden: str
    start: datetime
    end: datetime
    sentence: str
    lines: tuple[AdviceLine, ...]
    limits_source: str
    remarks: tuple[str, ...]


def ask_mix_advice(ground: Ground, mix: str = "", days: float = DEFAULT_DAYS) -> MixAdviceAnswer:
    """What to change in a mix (or in each), judged by how long it stays wet when cool and lasts when hot.

    Raises UnknownNameError, UsageError (no mix yet; a span of nothing), ShortOfDataError.
    """
    mixes = [garden_store.mix_named(ground.tx, mix)] if mix else list(ground.mixes.values())
    if not mixes:
        raise UsageError(
            'There is no mix yet; add one with: traywarden mix add "Seed mix" --parts "perlite 2, coir 2"'
        )
    found, (start_ms, end_ms) = gathered(ground, days)
    settings = ground.settings
    limits = AdviceLimits(
        settings["mix.cool_below_c"],
        settings["mix.hot_above_c"],
        settings["mix.wet_too_long_h"],
        settings["mix.dry_within_h"],
    )
    lines = [
        _line(ground, each, advice, limits)
        for each in mixes
        for advice in advise(found.stretches, each.name, limits)
    ]
    return MixAdviceAnswer(
        ground.garden.name,
        ground.at(start_ms),
        ground.at(end_ms),
        _advice_sentence(lines),
        tuple(lines),
        LIMITS_SOURCE,
        tuple(uncalibrated(found, [m.name for m in mixes])),
    )


def _line(ground: Ground, mix: Mix, found: MixAdvice, limits: AdviceLimits) -> AdviceLine:
    return AdviceLine(
        mix.name,
        ", ".join(f"{name} {share:g}" for name, share in mix.parts.items()),
        str(found.weather),
        _when(ground, found.weather, limits),
        str(found.finding),
        _says(found, _when(ground, found.weather, limits)),
        finite(found.hours.estimate),
        finite(found.hours.low),
        finite(found.hours.high),
        found.limit_h,
        found.waterings,
        found.open_ended,
        None if found.air_temp_c is None else round(found.air_temp_c, 1),
        found.advice,
        found.because,
    )


def _when(ground: Ground, weather: Weather, limits: AdviceLimits) -> str:
    if weather is Weather.COOL:
        return f"air below {ground.display.limit(limits.cool_below_c)}"
    return f"air of {ground.display.limit(limits.hot_above_c)} and more"


def _says(found: MixAdvice, when: str) -> str:
    cool = found.weather is Weather.COOL
    if found.finding is Finding.UNKNOWN:
        n = found.waterings
        return f"cannot tell: {n} watering{'' if n == 1 else 's'} in {when}, three are needed"
    hours = _hours_words(found.hours)
    what = "stays soaked for" if cool else "is at its dry line after"
    verdict = {
        Finding.YES: "too long" if cool else "too soon",
        Finding.NO: "not too long" if cool else "not too soon",
        Finding.AT_THE_LIMIT: "about at the limit",
    }[found.finding]
    return f"{what} {hours} in {when}: {verdict} (limit {found.limit_h:g} h, {found.waterings} waterings)"


def _hours_words(hours: Interval) -> str:
    middle = "longer than was seen" if not math.isfinite(hours.estimate or 0.0) else f"{hours.estimate:.0f} h"
    if hours.low is None or hours.high is None:
        return f"{middle} (no interval: {hours.reason})"
    high = f"{hours.high:.0f}" if math.isfinite(hours.high) else "longer than was seen"
    return f"{middle} [{hours.low:.0f}–{high}]"


def _advice_sentence(lines: Sequence[AdviceLine]) -> str:
    told = [line for line in lines if line.finding == Finding.YES]
    if told:
        return " ".join(f"{line.mix}: {line.advice}." for line in told)
    if all(line.finding == Finding.UNKNOWN for line in lines):
        return "Nothing to change yet: too few waterings were in cool or in hot weather to tell."
    return "Nothing to change in the mixes by what was seen."
