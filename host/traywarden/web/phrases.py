"""Advice in the words of the command line, said as a page says it: with a link to where it is done."""

import re
from datetime import date
from html import unescape
from typing import NamedTuple

from markupsafe import Markup, escape

from traywarden.domain.clock_words import days_words


class Phrase(NamedTuple):
    """`said` in an answer becomes `before` and the words of a link to `path`; without a path plain words."""

    said: str
    before: str
    words: str = ""
    path: str = ""


PHRASES = (
    # Where something is done on another page.
    Phrase(
        r"start the host with “traywarden run” and switch a probe on, or read in a logger file with "
        r"“traywarden import FILE”",
        "",
        "see what to do with a new probe",
        "/start?step=probe",
    ),
    Phrase(r"add one with: traywarden tray add .*", "", "add one", "/start"),
    Phrase(
        r"name one with --against, or add one with: traywarden place add .*",
        "",
        "add one",
        "/settings/places",
    ),
    Phrase(r"add one with: traywarden place add .*", "", "add one", "/settings/places"),
    Phrase(r"add one with: traywarden mix add .*", "", "add one", "/settings/mixes"),
    Phrase(r"place one with “traywarden probe place”", "", "place one", "/probes"),
    Phrase(r"place a head there with “traywarden probe place”", "", "place a head there", "/probes"),
    Phrase(
        r"hang a head there with traywarden probe place \S+ --place \".*?\"(?=, or)",
        "",
        "hang a head there",
        "/probes",
    ),
    Phrase(r"say so with traywarden probe place .*", "say so where heads are placed: ", "Probes", "/probes"),
    Phrase(r"see which wait with: traywarden probe list", "", "see which wait", "/probes"),
    Phrase(r" \(start it: traywarden run\)", "; start it"),
    Phrase(r"compare places with: traywarden places compare", "", "compare places", "/places/compare"),
    Phrase(
        r"; name one: traywarden places hours \w+",
        "; ",
        "write down what you sowed",
        "/journal/write?what=sowed",
    ),
    Phrase(
        r"ask when its soil is warm enough with: traywarden plan warm “.*?” --place PLACE",
        "",
        "ask when its soil is warm enough",
        "/sowings/warm",
    ),
    Phrase(r"see what is with: traywarden crop show", "", "see what is", "/settings/crops"),
    Phrase(
        r"count what is up, none too, with: traywarden emerged .* --count 0",
        "",
        "count what is up, none too",
        "/sowings",
    ),
    Phrase(
        r" with: traywarden journal correct (\d+) .*", " ", "in the journal", r"/journal/correct?entry=\1"
    ),
    Phrase(
        r"write the sowing (first )?with: traywarden sowed .*",
        "",
        r"write the sowing \1down",
        "/journal/write?what=sowed",
    ),
    Phrase(r"see their numbers with: traywarden journal list", "", "see their numbers", "/journal"),
    Phrase(
        r"(?i)(to bring (it|that entry) back): traywarden journal undo \d+",
        r"\1, ",
        "take that one back",
        "/journal",
    ),
    Phrase(r"lower that first with: traywarden mix change .*", "", "lower that first", "/settings/mixes"),
    Phrase(
        r"say when it was packed with: traywarden lot packed .*",
        "",
        "say when it was packed",
        "/settings/lots",
    ),
    Phrase(r"\(give your own with: traywarden garden set\)", "(", "give your own)", "/settings"),
    Phrase(r" \(traywarden lot test\)", ": ", "write it down", "/settings/lots"),
    Phrase(r" \(traywarden emerged\)", ""),
    Phrase(r", or give it with --value \S+\.", ", or say it."),
    Phrase(r", look with “traywarden calibrate volts .*?”, or give --volts", ", or give volts you know"),
    Phrase(r": traywarden calibrate weigh .*", ""),
    Phrase(
        r": read some in with “traywarden weather import FILE”",
        ": ",
        "read some in",
        "/weather",
    ),
    Phrase(
        r"read one in with: traywarden forecast import FILE(?=, or do without)", "", "read one in", "/weather"
    ),
    Phrase(r"\(traywarden password set\)", "(", "set one)", "/settings#password"),
    Phrase(
        r"set a password anew with: traywarden password set",
        "set a password anew on the garden’s own computer",
    ),
    # Settings by their name.
    Phrase(
        r" sets nothing; write it like dry\.close_above=0\.1", " sets nothing; write a setting and its value"
    ),
    Phrase(r"a setting, frames\.vent_above_c", "", "a setting", "/settings/growing#frames"),
    Phrase(r"frames\.vent_above_c", "", "a setting of yours", "/settings/growing#frames"),
    Phrase(
        r"the settings mix\.cool_below_c to mix\.dry_within_h",
        "",
        "settings of yours",
        "/settings/growing#mix",
    ),
    Phrase(
        r"with the setting probes\.read_s at 300 they show",
        "",
        "with a reading every 5 min they show",
        "/settings/devices#probes",
    ),
    Phrase(
        r"The settings moisture\.level2_from to moisture\.level5_from",
        "",
        "The steps of the 1–5 scale",
        "/settings/growing#moisture",
    ),
    # What is asked in a field of the same page.
    Phrase(r"(?i)choose a span with --from and --to", "Choose another span"),
    Phrase(r" with --from( and --to)?(?=\.|$)", ""),
    Phrase(r"give an earlier --from", "give an earlier first day"),
    Phrase(r"ask further back with --days", "ask further back"),
    Phrase(r"give --days (\S+) to (\d+)", r"give \1 to \2"),
    Phrase(r"give --days (\w+)", r"give \1 days"),
    Phrase(r"another place with --against", "another place to hold it against"),
    Phrase(r"take one with --crop", "take one"),
    Phrase(r" with --most", ""),
    Phrase(r"; add --cells 72", "; say it"),
    Phrase(
        r", --plants 60, or which cells are sown: --cells 72 or --tray A1", ", or how many cells are sown"
    ),
    Phrase(r"leave --(temp|month|crop|redo) out", r"leave that out"),
    Phrase(r"give --month 1 to 12", "choose one from the list"),
    Phrase(r"; --temp reckons that in", "; give a temperature to reckon that in"),
    Phrase(r"\(--gain; ", "("),
    Phrase(r" \(--most\)", ""),
    Phrase(r", or --seed-price\)", ", or its price here)"),
    Phrase(r" \(--hour-price\)", ""),
    Phrase(
        r"; add --crop tomato or --base 10|; add --base 10|; add --upper 30|; add --air to ask about that", ""
    ),
    Phrase(r": degree-days TRAY, or degree-days --place PLACE", ""),
    Phrase(r": --tray or --place, one of them", ": into a tray or a place"),
    Phrase(r"it hangs in a place: use --place", "it hangs in a place"),
)
_DAY_SAID = r"(?<![\w@–-])(?<!like )(?<!such as )(\d{4})-(\d\d)-(\d\d)(?![\w-]| \d\d:\d\d)"
_SPAN = re.compile(rf"{_DAY_SAID} to (\d{{4}})-(\d\d)-(\d\d)(?![\w-]| \d\d:\d\d)")
_ONE = re.compile(_DAY_SAID)
_FOUND = tuple((re.compile(phrase.said), phrase) for phrase in PHRASES)


def on_a_page(text: str) -> Markup:
    """The words of an answer or a refusal, ready for a page: escaped, with links where it says what to do."""
    pieces: list[str | Markup] = [with_days_said(text)]
    for pattern, phrase in _FOUND:
        pieces = [new for piece in pieces for new in _with_links(piece, pattern, phrase)]
    return Markup("").join(escape(piece) for piece in pieces)


def with_days_said(text: str) -> str:
    """Days as people say them: “2026-11-20 to 2026-11-27” is “20 to 27 November 2026”.

    What is to be typed so (“like 2027-05-15”), a batch's name and an instant stay as they are.

    >>> with_days_said("From 2026-03-28 to 2026-04-03; since 2026-01-05.")
    'From 28 March to 3 April 2026; since 5 January 2026.'
    """
    return _ONE.sub(_said, _SPAN.sub(_span_said, text))


def _span_said(found: re.Match[str]) -> str:
    first, last = _day(found, 1), _day(found, 4)
    return found[0] if first is None or last is None else days_words(first, last)


def _said(found: re.Match[str]) -> str:
    day = _day(found, 1)
    return found[0] if day is None else days_words(day, day)


def _day(found: re.Match[str], group: int) -> date | None:
    try:
        return date(*(int(found[n]) for n in range(group, group + 3)))
    except ValueError:
        return None


def in_plain_words(text: str) -> str:
    """The same without links, where only letters can stand."""
    return unescape(re.sub(r"</?a\b[^>]*>", "", on_a_page(text)))


def _with_links(piece: str | Markup, pattern: re.Pattern[str], phrase: Phrase) -> list[str | Markup]:
    if isinstance(piece, Markup):
        return [piece]
    pieces: list[str | Markup] = []
    end = 0
    for found in pattern.finditer(piece):
        stop = "." if found[0].endswith(".") else ""
        pieces += [piece[end : found.start()] + found.expand(phrase.before)]
        if phrase.path:
            link = Markup('<a href="{}">{}</a>').format(found.expand(phrase.path), found.expand(phrase.words))
            pieces += [link]
        pieces += [stop]
        end = found.end()
    return [*pieces, piece[end:]]
