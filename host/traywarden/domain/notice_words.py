"""The words of a notice: what to do, where, and why, with the numbers and where the level comes from.

Every rule has three sayings: for an episode that opened, one that closed, and one that is past.
A rule without words of its own is told by the reason of its verdict.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime, tzinfo

from traywarden.domain.advice import what_helps_cold
from traywarden.domain.episodes import ChangeKind
from traywarden.domain.garden import PlaceKind
from traywarden.domain.rules import Facts, what_to_do
from traywarden.domain.sayings import SAYINGS_BY_RULE, Saying
from traywarden.domain.subjects import Subject, SubjectKind
from traywarden.domain.units import Display, span_words

MOST_LINES = 40
"""A digest that is longer than this is not read; the rest is counted (no source)."""
LITRES_DIGITS_BELOW = 1.0
UNSURE = "The moisture is not calibrated in your mix: lift the tray before you trust the number."
DAY_MS = 86_400_000


@dataclass(frozen=True, slots=True)
class Watered:
    """When a tray was last watered and how that is known (“journal” or “seen by its sensor”)."""

    at_ms: int
    known_from: str


@dataclass(frozen=True, slots=True)
class Deed:
    """What the journal says was done about it, after “You”, and when."""

    words: str
    at_ms: int


@dataclass(frozen=True, slots=True)
class Told:
    """One change of one episode, with what its words need. `subject` is what the grower calls it;
    `place` and `watered` None: not known. `subjects`: by what a hush may name it (it, its place).
    `dark_ms`: when the sun goes down today, where something is to be done before."""

    kind: ChangeKind
    rule: str
    subject: str
    opened_ms: int
    closed_ms: int | None = None
    place: str | None = None
    watered: Watered | None = None
    facts: Facts = field(default_factory=dict)
    reason: str = ""
    place_kind: PlaceKind | None = None
    of: SubjectKind = SubjectKind.TRAY
    subjects: tuple[Subject, ...] = ()
    dark_ms: int | None = None
    done: Deed | None = None  # since it was first told, though it still holds


@dataclass(frozen=True, slots=True)
class Words:
    title: str
    body: str


@dataclass(frozen=True, slots=True)
class Reader:
    """Who reads it: now [ms since 1970], the garden's zone, and the units shown."""

    now_ms: int
    zone: tzinfo = UTC
    display: Display = field(default_factory=Display)

    def clock(self, at_ms: int) -> str:
        """An instant as a person says it: “14:05” today, “Tue 3 Mar 14:05” otherwise."""
        at = datetime.fromtimestamp(at_ms / 1000, self.zone)
        now = datetime.fromtimestamp(self.now_ms / 1000, self.zone)
        if at.date() == now.date():
            return f"{at:%H:%M}"
        day = f"{at:%a} {at.day} {at:%b}"
        return f"{day} {at:%H:%M}" if at.year == now.year else f"{day} {at.year} {at:%H:%M}"

    def ago(self, at_ms: int, after: str = " ago") -> str:
        since_s = max(0, self.now_ms - at_ms) / 1000
        return "just now" if after and since_s < 60 else f"{span_words(since_s)}{after}"


@dataclass(frozen=True, slots=True)
class Said:
    """What is told of one change: `alone` is the whole text, `listed` what stands in a list. `do` and the
    `source` of the level may be the same for all in a list, and are then said once."""

    alone: str
    listed: str
    do: str = ""
    source: str = ""


@dataclass(frozen=True, slots=True)
class Sayings:
    """A rule's words. `title`: what to do; `opened` and `ended`: what is told; `past`: one clause."""

    title: str
    opened: Callable[[Told, Reader], Said]
    ended: Callable[[Told, Reader], Said]
    past: Callable[[Told, Reader], str]


def words(changes: Sequence[Told], reader: Reader) -> Words:
    """Title and body of one notice.

    Parameters
    ----------
    changes : sequence of Told
        What the notice tells. Of one rule and kind, or all past, it is one text; else a part for each.
    reader : Reader

    Returns
    -------
    Words

    Raises
    ------
    ValueError
        When there is nothing to tell.

    Notes
    -----
    One subject is named in the title; several are counted there and listed in the body, past ones
    under “While you were away”.

    Example
    -------
    >>> away = Told(ChangeKind.PAST, "dry", "A", 0, 7_200_000)
    >>> words([away], Reader(86_400_000)).title
    'While you were away: 1 need came and went'
    """
    if not changes:
        raise ValueError("a notice needs at least one change")
    kinds = {(t.kind, "" if t.kind is ChangeKind.PAST else t.rule) for t in changes}
    if len(kinds) > 1:
        return _round(changes, reader)
    if changes[0].kind is ChangeKind.PAST:
        return _digest(changes, reader)
    first = changes[0]
    say = SAYINGS.get(first.rule, PLAIN)
    ended = first.kind is ChangeKind.CLOSED
    text = say.ended if ended else say.opened
    title = say.title or first.rule.capitalize()
    where = _where(first) if len(changes) == 1 else _several(changes)
    head = f"{title}: {where}"
    if ended:
        head = f"Over: {title.lower()}, {where}"
    elif first.kind is ChangeKind.REMINDED:
        head = f"Still: {title.lower()}, {where}"
    said = [_after_deed(told, text(told, reader), reader) for told in changes]
    return Words(head, said[0].alone if len(said) == 1 else _list(changes, said))


def _after_deed(told: Told, said: Said, reader: Reader) -> Said:
    """What did not help is said first: whoever did it thinks the matter settled."""
    if told.kind is not ChangeKind.REMINDED or told.done is None:
        return said
    when = reader.clock(told.done.at_ms)
    first = f"You {told.done.words} {'at' if when[0].isdigit() else 'on'} {when}, and it has not helped yet. "
    return replace(said, alone=first + said.alone, listed=first + said.listed)


def _list(changes: Sequence[Told], said: Sequence[Said]) -> str:
    """What is told of several, a line each; what is the same for all of them is said once."""
    do, source = (
        values.pop() if len(values) == 1 else ""
        for values in ({each.do for each in said}, {each.source for each in said})
    )
    name = _where if len({told.place for told in changes}) > 1 else lambda told: told.subject
    lines = [
        " ".join(
            filter(
                None,
                (
                    f"• {name(told)}: {each.listed}",
                    "" if each.source == source else f"Source: {each.source}.",
                    "" if each.do == do else each.do,
                ),
            )
        )
        for told, each in zip(changes, said, strict=True)
    ]
    first = f"For each: {do[0].lower()}{do[1:]}" if do else ""
    last = f"Source: {source}." if source else ""
    return "\n".join(filter(None, (first, _capped(lines), last)))


def _digest(changes: Sequence[Told], reader: Reader) -> Words:
    ordered = sorted(changes, key=lambda t: t.opened_ms)
    noun = "need" if len(ordered) == 1 else "needs"
    lines = [f"• {_where(t)}: {SAYINGS.get(t.rule, PLAIN).past(t, reader)}" for t in ordered]
    intro = "These came and went before their readings arrived; nothing needs doing for them now."
    return Words(
        f"While you were away: {len(ordered)} {noun} came and went", "\n".join([intro, _capped(lines)])
    )


ROUND = (ChangeKind.OPENED, ChangeKind.REMINDED, ChangeKind.CLOSED, ChangeKind.PAST)
"""In which order a notice of several kinds tells them: what needs somebody comes first."""


def _round(changes: Sequence[Told], reader: Reader) -> Words:
    """What has gathered, by what is to be done about it."""
    parts: dict[tuple[int, str], list[Told]] = {}
    for told in changes:
        past = told.kind is ChangeKind.PAST
        parts.setdefault((ROUND.index(told.kind), "" if past else told.rule), []).append(told)
    needs: dict[str, int] = {}
    for told in changes:
        if told.kind in (ChangeKind.OPENED, ChangeKind.REMINDED):
            needs[rule_words(told.rule)] = needs.get(rule_words(told.rule), 0) + 1
    counted = [f"{number} × {words}" if number > 1 else words for words, number in needs.items()]
    title = f"For you{_at(changes)}: {', '.join(counted)}" if counted else "Nothing to do: what is over"
    told_parts = [words(parts[key], reader) for key in sorted(parts, key=lambda key: key[0])]
    return Words(title, "\n\n".join(f"{part.title}\n{part.body}" for part in told_parts))


def _at(changes: Sequence[Told]) -> str:
    """“ at A (open bench)”, “ in open bench”, or nothing where it is in several places."""
    needs = [t for t in changes if t.kind in (ChangeKind.OPENED, ChangeKind.REMINDED)]
    if len({(t.of, t.subject) for t in needs}) == 1:
        return f" at {_where(needs[0])}"
    places = {t.place for t in needs}
    only = next(iter(places)) if len(places) == 1 else None
    return f" in {only}" if only else ""


def _capped(lines: list[str]) -> str:
    more = len(lines) - MOST_LINES
    return "\n".join([*lines[:MOST_LINES], f"• and {more} more"] if more > 0 else lines)


def _where(told: Told) -> str:
    known = told.place is not None and told.place != told.subject
    return f"{told.subject} ({told.place})" if known else told.subject


def _several(changes: Sequence[Told]) -> str:
    places = {t.place for t in changes}
    only = next(iter(places)) if len(places) == 1 else None
    return f"{len(changes)} {changes[0].of.many}" + (f" in {only}" if only else "")


def _number(told: Told, name: str) -> float | None:
    value = told.facts.get(name)
    return float(value) if isinstance(value, int | float) and not isinstance(value, bool) else None


def _named_in(crop: object, told: Told) -> bool:
    return str(crop).casefold() in told.subject.casefold()


def _span(told: Told, reader: Reader) -> str:
    until = told.closed_ms if told.closed_ms is not None else reader.now_ms
    lasted = span_words((until - told.opened_ms) / 1000)
    return f"{reader.clock(told.opened_ms)} to {reader.clock(until)} ({lasted})"


def _dry_opened(told: Told, reader: Reader) -> Said:
    moisture, line, capacity = (
        _number(told, n) for n in ("moisture_m3_m3", "dry_line_m3_m3", "container_capacity_m3_m3")
    )
    if moisture is None or line is None or capacity is None:
        return _plain_opened(told, reader)
    mix = told.facts.get("mix") or "its mix"
    since = reader.clock(told.opened_ms)
    parts = [
        f"{mix} is at {100 * moisture / capacity:.0f} % of container capacity ({moisture:.3f} m³/m³), below "
        f"its dry line of {100 * line / capacity:.0f} % ({line:.3f} m³/m³) since {since}."
    ]
    if told.watered is None:
        parts.append("Last watered: not known.")
    else:
        parts.append(f"Last watered {reader.ago(told.watered.at_ms)} ({told.watered.known_from}).")
    pour = _number(told, "pour_litres")
    if pour is not None:
        digits = 2 if pour < LITRES_DIGITS_BELOW else 1
        parts.append(f"About {pour:.{digits}f} l brings it back to container capacity.")
    says = " ".join(parts)
    unsure = "" if told.facts.get("calibrated") is not False else UNSURE
    alone = f"Water {told.subject} in {told.place or 'a place not known'} now: {says} {unsure}".rstrip()
    return Said(alone, f"{says[0].upper()}{says[1:]}", unsure)


def _dry_ended(told: Told, reader: Reader) -> Said:
    says = f"above its dry line again since {_closed(told, reader)}{_withdrawn(told)}."
    return Said(f"{told.subject} has been {says}", says)


def _dry_past(told: Told, reader: Reader) -> str:
    return f"below its dry line from {_span(told, reader)}"


def _cold_opened(told: Told, reader: Reader) -> Said:
    soil, floor = _number(told, "soil_temp_c"), _number(told, "floor_c")
    if soil is None or floor is None:
        return _plain_opened(told, reader)
    temp = reader.display.temp
    crop = told.facts.get("crop") or "the seed"
    kind = told.facts.get("floor_kind") or "published minimum"
    source = told.facts.get("floor_source")
    since = f"for {reader.ago(told.opened_ms, '')}, since {reader.clock(told.opened_ms)}"
    if reader.now_ms - told.opened_ms > DAY_MS:  # warm hours within a day do not end it
        since = f"on and off since {reader.clock(told.opened_ms)}"
    do = what_helps_cold(told.place_kind)
    if told.dark_ms is not None:
        do = f"{do} Best before dark, at {reader.clock(told.dark_ms)}."
    measured, limit = f"the mix is at {temp(soil)}", f"{kind} {temp(floor)}"
    cited = f" (source: {source})" if source else ""
    return Said(
        f"{crop} in {told.subject}, {told.place or 'a place not known'}: {measured}; {limit}{cited}. Below "
        f"it {since}. {do}",
        f"{'' if _named_in(crop, told) else f'{crop}, '}{measured}; {limit}. Below it {since}.",
        do,
        str(source or ""),
    )


def _cold_ended(told: Told, reader: Reader) -> Said:
    crop = told.facts.get("crop") or "the seed"
    whom = "" if _named_in(crop, told) else f" for {crop}"
    why = f": {told.reason}" if told.reason else ""
    says = f"too cold{whom} since {_closed(told, reader)}{why}{_withdrawn(told)}."
    return Said(f"{told.subject} has not been {says}", f"not {says}")


def _cold_past(told: Told, reader: Reader) -> str:
    return f"too cold for {told.facts.get('crop') or 'its seed'} from {_span(told, reader)}"


def _plain_opened(told: Told, reader: Reader) -> Said:
    why = told.reason or str(told.facts.get("reason") or "")
    return _of(told, f"{why or told.rule} since {reader.clock(told.opened_ms)}.")


def _plain_ended(told: Told, reader: Reader) -> Said:
    return _of(told, f"over since {_closed(told, reader)}{_withdrawn(told)}.")


def _of(told: Told, says: str) -> Said:
    return Said(f"{_where(told)}: {says}", says)


def _plain_past(told: Told, reader: Reader) -> str:
    return f"{told.rule} from {_span(told, reader)}"


def _said(saying: Saying) -> Sayings:
    """A rule told by its verdict's reason, with what to do and where the level comes from in its facts."""

    def opened(told: Told, reader: Reader) -> Said:
        why = str(told.facts.get("reason") or told.reason)
        source, do = str(told.facts.get("source") or ""), what_to_do(told.facts, reader.now_ms)
        cited, since = f" (source: {source})" if source else "", f"Since {reader.clock(told.opened_ms)}."
        alone = " ".join(filter(None, (f"{_where(told)}: {why}{cited}.", do, since)))
        return Said(alone, f"{why}. {since}", do, source)

    def ended(told: Told, reader: Reader) -> Said:
        why = f": {told.reason}" if told.reason and not told.facts.get("withdrawn") else ""
        return _of(told, f"{saying.over} since {_closed(told, reader)}{why}{_withdrawn(told)}.")

    def past(told: Told, reader: Reader) -> str:
        return f"{saying.was} from {_span(told, reader)}"

    return Sayings(saying.title, opened, ended, past)


def _closed(told: Told, reader: Reader) -> str:
    return reader.clock(told.closed_ms if told.closed_ms is not None else reader.now_ms)


def _withdrawn(told: Told) -> str:
    return " (late readings show that it was not so)" if told.facts.get("withdrawn") else ""


PLAIN = Sayings("", _plain_opened, _plain_ended, _plain_past)
SAYINGS: dict[str, Sayings] = {
    "dry": Sayings("Water now", _dry_opened, _dry_ended, _dry_past),
    "cold": Sayings("Too cold", _cold_opened, _cold_ended, _cold_past),
    **{rule: _said(saying) for rule, saying in SAYINGS_BY_RULE.items()},
}


def rule_words(rule: str) -> str:
    """What a rule is about, within a sentence: “water now”.

    >>> rule_words("dry"), rule_words("a rule without words")
    ('water now', 'a rule without words')
    """
    return SAYINGS.get(rule, PLAIN).title.lower() or rule
