"""What would have been told of a history: by the host's own outbox and reminders, into a store of its own.

One channel that takes everything at once stands for all there are; what it is given counts as sent at once.
"""

import tempfile
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path

from traywarden.domain.episodes import ChangeKind, Episode, RuleState
from traywarden.domain.notices import Hold, Notice, NoticeState
from traywarden.domain.rules import Answer, PacedRule, Verdict
from traywarden.domain.telling_times import AT_ONCE
from traywarden.services.describing import Describer
from traywarden.services.holding import Timing, spared_words
from traywarden.services.notice_plan import Plan
from traywarden.services.replaying.history import Event, History
from traywarden.services.teller import Standing, Teller
from traywarden.settings import Settings
from traywarden.store import episodes as episode_store
from traywarden.store import notices as notice_store
from traywarden.store.episodes import Key
from traywarden.store.store import Store, Tx

ONE_CHANNEL = {
    "notices.console": True,
    "notices.console_from": "info",
    "notices.console_digest": AT_ONCE,
    "notices.mqtt": False,
}
HOUR_MS = 3_600_000
"""Reminders are looked for so often."""


class Telling:
    """`told` in order of time; `episodes` by id; `shadowed`: how many were never told for a shadow."""

    def __init__(self, history: History, settings: Settings) -> None:
        self._settings = replace(settings, values={**settings.values, **ONE_CHANNEL}, channels=())
        self._history = history
        self._timing = Timing.of(self._settings)
        self._teller = _Teller(self._settings, history)
        self._open: dict[Key, Episode] = {}
        self.episodes: dict[str, Episode] = {}
        self.told: list[Notice] = []
        self.shadowed = 0

    def run(self) -> None:
        """Tell it all; what was told before the span began is not counted."""
        with _empty_store() as store, store.write() as tx:
            self._run(tx)

    def _run(self, tx: Tx) -> None:
        events = sorted(self._history.events, key=lambda e: (e.decided_ms, e.rule.name != "quiet"))
        done, look_ms = 0, self._history.end_ms
        while done < len(events) or look_ms < self._history.end_ms:
            now_ms = min(look_ms, events[done].decided_ms if done < len(events) else look_ms)
            if now_ms >= self._history.end_ms:
                break
            first = done
            while done < len(events) and events[done].decided_ms == now_ms:
                done += 1
            if done > first:
                self._change(tx, events[first:done], now_ms)
            self._look(tx, now_ms)
            look_ms = self._next_look(tx, now_ms)
        sent = notice_store.in_states(tx, NoticeState.SENT)
        self.told = [n for n in sent if (n.sent_ms or 0) >= self._history.start_ms]
        self.told.sort(key=lambda n: n.sent_ms or 0)
        untold = notice_store.in_states(tx, NoticeState.SPARED, NoticeState.HELD)
        dark = [n for n in untold if n.waits_for is Hold.SHADOW or n.trouble == spared_words(Hold.SHADOW)]
        self.shadowed = len({named for notice in dark for named, _ in notice.changes})

    def _change(self, tx: Tx, events: Sequence[Event], now_ms: int) -> None:
        for event in events:
            episode = event.change.episode
            self.episodes[episode.episode_id] = episode
            key = episode.rule, episode.subject
            if event.change.kind is ChangeKind.OPENED:
                self._open[key] = episode
            else:
                self._open.pop(key, None)
            episode_store.keep_episode(tx, episode)
        changes = [event.change for event in events]
        self._keep(tx, self._teller.of_changes(tx, self._standing(now_ms), changes, {}), now_ms)

    def _look(self, tx: Tx, now_ms: int) -> None:
        """Let go of what was held, and remind."""
        held = notice_store.in_states(tx, NoticeState.HELD)
        if held:
            self._keep(tx, self._teller.of_held(tx, self._standing(now_ms), held, lambda _: True), now_ms)
        if any(self._reminds(rule) for rule, _ in self._open):
            self._keep(tx, self._teller.of_reminders(tx, self._standing(now_ms)), now_ms)

    @staticmethod
    def _keep(tx: Tx, plan: Plan, now_ms: int) -> None:
        if plan:
            plan.write(tx)
            for notice in plan.put:
                if notice.state is NoticeState.WAITING:
                    notice_store.mark_sent(tx, notice.notice_id, now_ms)

    def _next_look(self, tx: Tx, now_ms: int) -> int:
        """When what is held may be let go, or a reminder be due, if nothing happens before."""
        looks = [self._history.end_ms]
        for notice in notice_store.in_states(tx, NoticeState.HELD):
            if notice.waits_for is Hold.OTHERS:
                looks.append(max(notice.created_ms + self._timing.gather_ms, now_ms + 1000))
            elif notice.waits_for is Hold.QUIET:
                at = self._history.ground.at(now_ms)
                until = self._timing.quiet.until(at) or self._timing.night(notice.channel).until(at)
                looks.append(now_ms + 1000 if until is None else round(until.timestamp() * 1000))
        if any(self._reminds(rule) for rule, _ in self._open):
            looks.append((now_ms // HOUR_MS + 1) * HOUR_MS)
        return min(looks)

    def _reminds(self, rule: str) -> bool:
        asked = self._history.rules[rule]
        return asked.severity != "info" and not (isinstance(asked, PacedRule) and asked.told_once)

    def _standing(self, now_ms: int) -> Standing:
        states, verdicts = {}, {}
        for key, episode in self._open.items():
            said = self._newest(key, now_ms)
            no_since_ms = self._history.no_since_ms(key, now_ms)
            states[key] = RuleState(now_ms, episode.opened_ms, no_since_ms, now_ms, said.answer, said.reason)
            verdicts[key] = said
        return Standing(self._history.knowledge, states, verdicts, now_ms)

    def _newest(self, key: Key, now_ms: int) -> Verdict:
        """The newest answer; blind where nothing was measured for too long since."""
        found = self._history.verdict(key, now_ms)
        if found is None:
            return Verdict(Answer.BLIND, "it was not asked yet")
        at_ms, verdict = found
        paced = isinstance(self._history.rules[key[0]], PacedRule)
        if not paced and now_ms - at_ms > 1000 * self._settings["notices.blind_after_s"]:
            return Verdict(Answer.BLIND, "nothing usable was measured for too long")
        return verdict


class _Teller(Teller):
    """Tells of the history's own readings and journal, and keeps what it told somewhere else."""

    def __init__(self, settings: Settings, history: History) -> None:
        super().__init__(settings, history.rules, lambda: 0.0)
        self._history = history

    def _describer(self, tx: Tx, standing: Standing) -> Describer:
        del tx
        return Describer(
            self._history.ground.tx, standing.knowledge, self._settings, standing.now_ms, standing.verdicts
        )


@contextmanager
def _empty_store() -> Iterator[Store]:
    """A store that is gone afterwards."""
    with (
        tempfile.TemporaryDirectory(prefix="traywarden-") as folder,
        Store.open(f"sqlite:///{Path(folder) / 'replay.sqlite3'}") as store,
    ):
        yield store
