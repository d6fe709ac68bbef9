"""What the buttons behind “Done” may write down: for each rule, the ways to have answered it by now."""

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

from traywarden.domain.bases import base_of_tray
from traywarden.domain.episodes import Episode
from traywarden.domain.garden import Place
from traywarden.domain.journal import Kind
from traywarden.domain.subjects import SubjectKind
from traywarden.domain.units import listed_in
from traywarden.services.deeds import deeds_for
from traywarden.services.journal import Draft
from traywarden.services.knowledge import Knowledge
from traywarden.services.questions.ground import Ground

BY_A_LINK = "a link in a notice"


@dataclass(frozen=True, slots=True)
class Way:
    """One button: its `value` in the form, its words, what is done in words, and the entries that say so.

    `counts`: whether how many there are may be given with it.
    """

    value: str
    button: str
    says: str
    drafts: tuple[Draft, ...]
    counts: bool = False


def ways_to_answer(on: Ground, knowledge: Knowledge, rule: str, needs: Sequence[Episode]) -> list[Way]:
    """Every button for what a notice tells of one rule; none where a tap can write down nothing true."""
    if not needs or rule not in _WAYS:
        return []
    names = ", ".join(sorted({knowledge.name_of(e.subject) for e in needs}))
    return [way for way in _WAYS[rule](on, needs, names) if way.drafts]


def done_since(knowledge: Knowledge, episode: Episode, since_ms: int) -> bool:
    """Whether the journal has it already: by the same link over another channel, or by hand."""
    return any(entry.at_ms >= since_ms for entry in deeds_for(knowledge, episode))


def with_count(drafts: Sequence[Draft], count: int | None) -> list[Draft]:
    """The entries with what was counted, where something was."""
    return [d if count is None else replace(d, data={**d.data, "count": count}) for d in drafts]


Make = Callable[[Ground, Sequence[Episode], str], Iterator[Way]]


def _done(kind: Kind, words: str) -> Make:
    """It was done, and that is all there is to say."""

    def made(on: Ground, needs: Sequence[Episode], names: str) -> Iterator[Way]:
        yield Way(
            words,
            f"Yes, {words}",
            f"{names}: {words}",
            tuple(_draft(on, kind, e) for e in needs),
        )

    return made


def _draft(on: Ground, kind: Kind, episode: Episode) -> Draft:
    of_tray, number = episode.subject.kind is SubjectKind.TRAY, episode.subject.number
    return Draft(
        kind,
        on.now_ms,
        tray_id=number if of_tray else None,
        place_id=None if of_tray else number,
        note=BY_A_LINK,
    )


def _moved(covered_only: bool) -> Make:
    """They were moved: to which of the places there are must be said."""

    def made(on: Ground, needs: Sequence[Episode], names: str) -> Iterator[Way]:
        there = _trays(on, needs)
        named = _named(on, there, needs)
        for place in _places(on, covered_only=covered_only):
            yield _moved_to(on, place, named, "to", f"Moved to {place.name}")
            if len(named) < len(there):
                yield _moved_to(on, place, there, "all to", f"Moved all that stands there to {place.name}")

    return made


def _moved_to(on: Ground, place: Place, trays: Sequence[int], value: str, button: str) -> Way:
    trays = [t for t in trays if _place_id(on, t) != place.place_id]
    drafts = (Draft(Kind.MOVED, on.now_ms, tray_id=t, place_id=place.place_id, note=BY_A_LINK) for t in trays)
    moved = ", ".join(sorted(on.trays[t].name for t in trays))
    return Way(f"{value} {place.place_id}", button, f"{moved}: moved to {place.name}", tuple(drafts))


def _lifted(on: Ground, needs: Sequence[Episode], names: str) -> Iterator[Way]:
    """Lifted off a base that they share with others, or carried under cover."""
    based = [t for t in _trays(on, needs) if base_of_tray(on.facts, t, on.now_ms) is not None]
    drafts = tuple(Draft(Kind.ON_BASE, on.now_ms, tray_id=t, note=BY_A_LINK) for t in based)
    lifted = ", ".join(sorted(on.trays[t].name for t in based))
    yield Way("lifted", "Lifted off its base", f"{lifted}: lifted off the base", drafts)
    yield from _moved(covered_only=True)(on, needs, names)


def _up(on: Ground, needs: Sequence[Episode], names: str) -> Iterator[Way]:
    """Seen to be up, counted or not; or looked, and nothing is up."""
    up = tuple(_draft(on, Kind.EMERGED, e) for e in needs)
    none = tuple(replace(each, data={"count": 0}) for each in up)
    yield Way("up", "Yes, seedlings are up", f"{names}: seen to be up", up, counts=len(needs) == 1)
    yield Way("none", "Looked: nothing is up yet", f"{names}: looked, nothing is up yet", none)


def _places(on: Ground, *, covered_only: bool) -> list[Place]:
    known = sorted(on.places.values(), key=lambda place: place.name)
    return [place for place in known if place.covered or not covered_only]


def _trays(on: Ground, needs: Sequence[Episode]) -> list[int]:
    """Trays that are needy themselves, or stand in a needy place."""
    places = {e.subject.number for e in needs if e.subject.kind is SubjectKind.PLACE}
    own = {e.subject.number for e in needs if e.subject.kind is SubjectKind.TRAY}
    return [t for t in on.trays if t in own or _place_id(on, t) in places]


def _named(on: Ground, there: Sequence[int], needs: Sequence[Episode]) -> list[int]:
    """Those of them that the notice names; all of them where it names none."""
    listed = [str(e.facts.get("trays", "")) for e in needs if e.subject.kind is SubjectKind.PLACE]
    if not listed or not all(listed):
        return list(there)
    names = {on.trays[t].name for t in there}
    named = {name for words in listed for name in listed_in(words, names)}
    return [t for t in there if on.trays[t].name in named] or list(there)


def _place_id(on: Ground, tray_id: int) -> int | None:
    return on.facts.place_of_tray(tray_id, on.now_ms)


_WAYS: Mapping[str, Make] = {
    "dry": _done(Kind.WATERED, "watered"),
    "drying": _done(Kind.WATERED, "watered"),
    "vent": _done(Kind.VENTED, "opened"),
    "shut": _done(Kind.CLOSED, "closed"),
    "cold": _moved(covered_only=False),
    "hot": _moved(covered_only=False),
    "frost": _moved(covered_only=True),
    "rain": _moved(covered_only=True),
    "waterlogged": _lifted,
    "late": _up,
    "tilted": _done(Kind.LEVELLED, "put level"),
}
BY_A_TAP = frozenset(_WAYS)
"""Rules whose deed can be written down by a tap and be true: what was done needs no more words, or a choice
from the few places there are. What helps against the others is no entry of the journal: a new battery."""
