"""Questions about mixes as an address asks them: mixes by number, and how many days back to look."""

from collections.abc import Mapping, Sequence

from traywarden.errors import UsageError
from traywarden.services.questions.dry_down import DryDownAnswer
from traywarden.services.questions.ground import Ground
from traywarden.services.questions.mixes import DEFAULT_DAYS

DRY_DAYS, SOAKED_DAYS = 60.0, DEFAULT_DAYS
LONGEST_DAYS = 3660
MOST_PAIRS = 3
"""So many mixes are compared two by two without being asked: three pairs are three of them."""


def days_asked(params: Mapping[str, str], usual: float) -> float:
    words = params.get("days", "").strip()
    if not words:
        return usual
    if not words.isdecimal() or not 1 <= int(words[:6]) <= LONGEST_DAYS:
        raise UsageError(f"“{words[:20]}” is no number of days from 1 to {LONGEST_DAYS}.")
    return float(words)


def mix_asked(on: Ground, params: Mapping[str, str], name: str) -> str:
    """The name of the mix of that number; UsageError where there is none."""
    words = params.get(name, "").strip()
    number = int(words) if words.isdecimal() and len(words) <= 9 else -1
    if number not in on.mixes:
        raise UsageError("Choose two mixes.")
    return on.mixes[number].name


def pairs(answer: DryDownAnswer | None) -> Sequence[tuple[str, str]]:
    """The mixes to be compared, those with the most stretches first."""
    if answer is None:
        return ()
    told = sorted((mix for mix in answer.mixes if mix.stretches), key=lambda mix: -mix.stretches)
    names = [mix.mix for mix in told[:MOST_PAIRS]]
    return [(a, b) for n, a in enumerate(names) for b in names[n + 1 :]]
