"""Which entries of the journal answer an episode: what was done about it, or about the place of its tray."""

from collections.abc import Iterator

from traywarden.domain.episodes import Episode
from traywarden.domain.journal import Entry, Kind
from traywarden.domain.remedies import remedies_of
from traywarden.domain.subjects import SubjectKind
from traywarden.domain.units import listed_in
from traywarden.services.delays import trays_in
from traywarden.services.knowledge import Knowledge


def deeds_for(knowledge: Knowledge, episode: Episode) -> list[Entry]:
    """What may have answered it, oldest first.

    A place is answered by carrying out what stands there, once none is left of what the notice names (where
    it names none, of all that stands there): who carried out one of three has two to go.
    """
    kinds = remedies_of(episode)
    found = knowledge.deeds(episode.subject, kinds)
    if episode.subject.kind is SubjectKind.PLACE and Kind.MOVED in kinds:
        found = [*found, *_carried_out(knowledge, episode)]
    return sorted(found, key=lambda entry: (entry.at_ms, entry.entry_id))


def _carried_out(knowledge: Knowledge, episode: Episode) -> Iterator[Entry]:
    place_id, listed = episode.subject.number, str(episode.facts.get("trays", ""))
    names = {tray.name for tray in knowledge.trays.values()}
    named = listed_in(listed, names) or names
    for tray_id in knowledge.trays:
        facts = knowledge.of(tray_id).facts
        for entry in facts.of_tray(tray_id, Kind.MOVED):
            if entry.at_ms < episode.opened_ms or entry.place_id == place_id:
                continue
            if facts.place_of_tray(tray_id, entry.at_ms - 1) != place_id:
                continue
            left = {knowledge.trays[each].name for each, _ in trays_in(knowledge, place_id, entry.at_ms)}
            if not left & named:
                yield entry
