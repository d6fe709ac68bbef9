"""Reminders: of what still holds and was told, unless something done about it has yet to show; and of what a
hush kept quiet. What can wait is reminded of by day."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime

from traywarden.domain.episodes import Change, ChangeKind, Episode
from traywarden.domain.hushes import Hush
from traywarden.domain.notice_words import Reader, Told
from traywarden.domain.notices import OPEN_STATES, Notice, NoticeState
from traywarden.domain.remedies import SHOWS_WITHIN_S, next_reminder_ms
from traywarden.services.deeds import deeds_for
from traywarden.services.describing import Describer
from traywarden.services.holding import Shadow, Timing, no_shadow
from traywarden.services.knowledge import Knowledge
from traywarden.services.notice_plan import Plan, told_ms
from traywarden.services.outbox import Outbox
from traywarden.settings import Settings
from traywarden.store import hushes as hush_store
from traywarden.store import notices as notice_store
from traywarden.store.store import Tx

NEARBY_MS = 3_600_000
"""A reminder that would come within an hour anyway goes with another in the same place."""
MOST_HUSHES = 200
PATIENCE = 4.0
"""Of what does damage within hours one is reminded so many times as soon, and as often, as of the rest (no
source)."""


class Reminding:
    """When each channel is to be reminded of each open episode."""

    def __init__(self, settings: Settings) -> None:
        self._first_s: float = settings["notices.remind_after_s"]
        self._longest_s: float = settings["notices.longest_remind_s"]
        self._timing = Timing.of(settings)
        self._told_of: dict[str, dict[str, ChangeKind]] = {}

    def plan(
        self,
        tx: Tx,
        knowledge: Knowledge,
        episodes: Sequence[Episode],
        outbox: Outbox,
        describer: Describer,
        now_ms: int,
        shadow: Shadow = no_shadow,
    ) -> Plan:
        """The reminders that are due at now_ms."""
        self._told_of.clear()
        told = notice_store.about_all(tx, (e.episode_id for e in episodes))
        hushes = [h for h in hush_store.newest(tx, MOST_HUSHES) if not h.holds_at(now_ms)]
        times: list[_Due] = []
        for episode in episodes:
            deeds_ms = [entry.at_ms for entry in deeds_for(knowledge, episode)]
            shows_s = SHOWS_WITHIN_S.get(episode.rule, self._longest_s)
            subjects = describer.subjects(episode)
            over = [_end_ms(h) for h in hushes if h.covers(episode.rule, subjects)]
            reminded = outbox.eligible(episode.rule) if outbox.severity(episode.rule) != "info" else []
            urgent = outbox.severity(episode.rule) == "urgent"
            first_s = self._first_s if urgent else PATIENCE * self._first_s
            for channel in reminded:
                mine = [n for n in told[episode.episode_id] if n.channel == channel]
                at_ms = self._at_ms(episode, first_s, mine, deeds_ms, shows_s, over, now_ms)
                if at_ms is None:
                    continue
                by_day_ms = at_ms
                if not urgent and at_ms not in over:  # whoever hushed it until then is to be told then
                    by_day_ms = self._by_day_ms(channel, at_ms, now_ms, describer.reader)
                if by_day_ms <= now_ms + NEARBY_MS:
                    times.append(_Due(by_day_ms, channel, episode, waited=by_day_ms > at_ms))
        if not any(each.at_ms <= now_ms for each in times):
            return Plan()
        said: dict[str, Told] = {
            each.episode.episode_id: describer.told(Change(ChangeKind.REMINDED, each.episode, now_ms))
            for each in times
        }
        walks = {_walk(each, said) for each in times if each.at_ms <= now_ms}
        due = [
            (each.channel, said[each.episode.episode_id], each.episode.episode_id, each.waited)
            for each in times
            if _walk(each, said) in walks
        ]
        return outbox.remind(tx, due, describer.reader, shadow)

    def _by_day_ms(self, channel: str, at_ms: int, now_ms: int, reader: Reader) -> int:
        """When what can wait is reminded of: by day."""
        night = self._timing.night(channel)
        times = (datetime.fromtimestamp(ms / 1000, reader.zone) for ms in (at_ms, now_ms))
        mornings = [morning.timestamp() for at in times if (morning := night.until(at)) is not None]
        return max([at_ms, *(round(1000 * each) for each in mornings)])

    def _kind(self, notice: Notice, episode: Episode) -> ChangeKind | None:
        """What a notice tells of an episode; one notice may tell of a thousand."""
        if notice.notice_id not in self._told_of:
            self._told_of[notice.notice_id] = dict(notice.changes)
        return self._told_of[notice.notice_id].get(episode.episode_id)

    def _at_ms(
        self,
        episode: Episode,
        first_s: float,
        mine: Sequence[Notice],
        deeds_ms: Sequence[int],
        shows_s: float,
        over_ms: Sequence[int],
        now_ms: int,
    ) -> int | None:
        """When to remind the channel of the episode; None: not at all, as things are."""
        known = {n.notice_id: kind for n in mine if (kind := self._kind(n, episode)) is not None}
        tells = [n for n in mine if known.get(n.notice_id) in (ChangeKind.OPENED, ChangeKind.REMINDED)]
        starts = (i for i, n in enumerate(tells) if known[n.notice_id] is ChangeKind.OPENED)
        started = max(starts, default=None)
        if started is None or any(n.state in OPEN_STATES for n in tells[started:]):
            return None
        times_ms = [told_ms(n, now_ms) for n in tells[started:] if n.state is NoticeState.SENT]
        return self._after(times_ms, first_s, deeds_ms, shows_s, over_ms, now_ms) if times_ms else None

    def _after(
        self,
        times_ms: Sequence[int],
        first_s: float,
        deeds_ms: Sequence[int],
        shows_s: float,
        over_ms: Sequence[int],
        now_ms: int,
    ) -> int | None:
        """When to remind of what was told at these times."""
        last_ms = max((at_ms for at_ms in times_ms if at_ms <= now_ms), default=None)
        if last_ms is None:  # the clock was set back
            return now_ms if self._first_s else None
        # The first: what is done every day anyway would put it off for ever.
        done_ms = min((at_ms for at_ms in deeds_ms if last_ms < at_ms <= now_ms), default=None)
        if done_ms is not None:
            return done_ms + round(shows_s * 1000) if self._first_s else None
        freed = [end_ms for end_ms in over_ms if last_ms < end_ms <= now_ms]
        if freed:
            return max(freed)
        if not self._first_s:
            return None
        # What may wait four times as long for the first reminder may for each of the later ones too.
        longest_s = max(first_s, self._longest_s * first_s / self._first_s)
        return next_reminder_ms(len(times_ms), last_ms, first_s=first_s, longest_s=longest_s)


@dataclass(frozen=True, slots=True)
class _Due:
    """When a channel is to be reminded of an episode; `waited`: only then, as it came up at night."""

    at_ms: int
    channel: str
    episode: Episode
    waited: bool


def _walk(due: _Due, said: Mapping[str, Told]) -> tuple[str, str]:
    """What goes together: all that waited for the morning, all in one place, else all of one rule."""
    told = said[due.episode.episode_id]
    return due.channel, "" if due.waited else f"in {told.place}" if told.place else told.rule


def _end_ms(hush: Hush) -> int:
    return hush.until_ms if hush.ended_ms is None else min(hush.ended_ms, hush.until_ms)
