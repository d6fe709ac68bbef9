"""The --at option of every journal command, read in the garden's zone."""

from traywarden.cli.context import Bench
from traywarden.cli.tables import say
from traywarden.services.moments import moment_words, parse_moment


def at_ms(bench: Bench, text: str, *, quiet: bool = False) -> int:
    """The instant that --at means; says on screen what was taken where the words left it open."""
    moment = parse_moment(text, now_ms=bench.now_ms, zone=bench.zone)
    if moment.remark and not quiet:
        say(moment.remark)
    return moment.at_ms


def at_words(bench: Bench, at: int) -> str:
    return moment_words(at, bench.zone)
