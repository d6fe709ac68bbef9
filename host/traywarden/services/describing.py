"""What a notice needs to know of one change: tray, place, numbers, and when the tray was last watered."""

from collections.abc import Mapping
from functools import cached_property
from zoneinfo import ZoneInfo

from traywarden.domain.daylight import next_dark_s
from traywarden.domain.episodes import Change, ChangeKind, Episode
from traywarden.domain.journal import Entry, Kind
from traywarden.domain.notice_words import Deed, Reader, Told, Watered
from traywarden.domain.remedies import CARRIED_OUT, DEED_WORDS, ENDS_THE_ASKING, answers_end
from traywarden.domain.rules import Answer, Verdict
from traywarden.domain.subjects import Subject, SubjectKind
from traywarden.domain.units import Display
from traywarden.services.deeds import deeds_for
from traywarden.services.knowledge import Knowledge
from traywarden.services.position import position_in
from traywarden.settings import Settings
from traywarden.store.episodes import Key
from traywarden.store.store import Tx

MOST_WETTINGS = 20
"""Openings in one judgement whose last wetting is looked for in the readings; the journal speaks for more."""
ASKS_FOR_WATERING = ("dry",)
DONE_BEFORE_DARK = ("cold",)


class Describer:
    """Looks up, at one moment, what the words need. `verdicts`: the newest of each rule and subject."""

    def __init__(
        self,
        tx: Tx,
        knowledge: Knowledge,
        settings: Settings,
        now_ms: int,
        verdicts: Mapping[Key, Verdict],
    ) -> None:
        self._tx, self._knowledge, self._now_ms, self._verdicts = tx, knowledge, now_ms, verdicts
        self._earliest_year: int = settings["wire.earliest_year"]
        self._known: dict[int, Watered | None] = {}
        zone = ZoneInfo(knowledge.garden.time_zone if knowledge.garden else "UTC")
        display = Display(settings["display.temperature"], settings["display.length"])
        self.reader = Reader(now_ms, zone, display)

    def told(self, change: Change) -> Told:
        """The change with all that its words need; an opening speaks with the newest numbers."""
        episode = change.episode
        facts, watered, dark_ms = episode.facts, None, None
        if change.kind in (ChangeKind.OPENED, ChangeKind.REMINDED):
            newest = self._verdicts.get((episode.rule, episode.subject))
            if newest is not None and newest.answer is Answer.YES:
                facts = {**facts, **newest.facts, "reason": newest.reason}
            if episode.rule in ASKS_FOR_WATERING:
                watered = self._watered(episode.subject.number)
            if episode.rule in DONE_BEFORE_DARK:
                dark_ms = self._dark_ms
        place = self._knowledge.where(episode.subject, self._now_ms)
        return Told(
            change.kind,
            episode.rule,
            self._knowledge.name_of(episode.subject),
            episode.opened_ms,
            episode.closed_ms,
            place.name if place else None,
            watered,
            facts,
            change.reason,
            place.kind if place else None,
            episode.subject.kind,
            self.subjects(episode),
            dark_ms,
            done=self._done(episode) if change.kind is ChangeKind.REMINDED else None,
        )

    @cached_property
    def _dark_ms(self) -> int | None:
        """When the sun goes down today."""
        garden = self._knowledge.garden
        if garden is None:
            return None
        zone = ZoneInfo(garden.time_zone)
        at = position_in(garden, zone, self._now_ms)
        dark_s = next_dark_s(self._now_ms / 1000, zone, at.latitude_deg, at.longitude_deg)
        return None if dark_s is None else round(dark_s * 1000)

    def _done(self, episode: Episode) -> Deed | None:
        """The newest deed for it since it could be told: that the tray was put there at first is none."""
        decided_ms = episode.facts.get("decided_ms")
        since_ms = decided_ms if isinstance(decided_ms, int | float) else episode.opened_ms
        newest = None
        for entry in self._deeds(episode):
            if since_ms < entry.at_ms <= self._now_ms and entry.kind in DEED_WORDS:
                out = entry.kind is Kind.MOVED and episode.subject.kind is SubjectKind.PLACE
                newest = Deed(CARRIED_OUT if out else DEED_WORDS[entry.kind], entry.at_ms)
        return newest

    def _deeds(self, episode: Episode) -> list[Entry]:
        """What may have answered it, oldest first; that nothing was up yet does not."""
        found = deeds_for(self._knowledge, episode)
        return [e for e in found if e.kind is not Kind.EMERGED or e.data.get("count") != 0]

    def answered(self, episode: Episode, since_ms: int) -> str:
        """Which deed, done since then, an episode is over because of, in words; empty where none is known."""
        for entry in reversed(self._deeds(episode)):
            if not since_ms <= entry.at_ms <= self._now_ms or episode.closed_ms is None:
                continue
            asked_no_more = entry.kind in ENDS_THE_ASKING.get(episode.rule, ())
            if asked_no_more or answers_end(episode.rule, entry.at_ms, episode.closed_ms):
                return f"{entry.kind.value} {self.reader.clock(entry.at_ms)}"
        return ""

    def subjects(self, episode: Episode) -> tuple[Subject, ...]:
        """By what a hush may name it: itself, and the place where it stands now."""
        place = self._knowledge.where(episode.subject, self._now_ms)
        known = [] if place is None else [Subject(SubjectKind.PLACE, place.place_id)]
        return tuple(dict.fromkeys((episode.subject, *known)))

    def _watered(self, tray_id: int) -> Watered | None:
        if tray_id not in self._known:
            self._known[tray_id] = self._knowledge.watered(
                self._tx,
                tray_id,
                self._now_ms,
                earliest_year=self._earliest_year,
                by_sensor=len(self._known) < MOST_WETTINGS,
            )
        return self._known[tray_id]
