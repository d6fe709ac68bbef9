"""Channels that do not take what they are given: which, since when, why, and what to do about it."""

from dataclasses import dataclass

from traywarden.domain.notices import NoticeState
from traywarden.domain.units import span_words
from traywarden.services.outbox import targets
from traywarden.settings import Settings
from traywarden.store import notices as notice_store
from traywarden.store.store import Tx

UNTAKEN_LATE_S = 600.0
"""A notice that nobody has tried to send for longer than this is trouble: the host sends within seconds."""
FAILED_TRIES = 2
"""One try that fails is a hiccup: the next follows after half a minute."""


@dataclass(frozen=True, slots=True)
class ChannelTrouble:
    """One channel that fails. `since_ms`: when the notice that has it worst came up."""

    channel: str
    waiting: int
    parked: int
    since_ms: int
    why: str
    do: str


def channel_troubles(tx: Tx, settings: Settings, now_ms: int) -> tuple[ChannelTrouble, ...]:
    """Every channel with a notice given up, tried in vain, or waiting too long."""
    known = targets(settings)
    found = []
    for queue in notice_store.queues(tx):
        worst, late_s = queue.worst, (now_ms - queue.worst.created_ms) / 1000
        if worst.state is NoticeState.PARKED:
            why, do = worst.trouble, "correct the channel, then try again"
        elif worst.attempts >= FAILED_TRIES:
            why, do = worst.trouble, "look at the channel; it is tried again by itself"
        elif late_s > UNTAKEN_LATE_S:
            why = f"waits for {span_words(late_s)}" + (f": {worst.trouble}" if worst.trouble else "")
            do = "look at the channel, and whether the host runs"
            if queue.channel not in known:
                why = f"{why} (there is no channel of that name in the settings)"
                do = "put a channel of that name into the settings again; until then it waits"
        else:
            continue
        found.append(ChannelTrouble(queue.channel, queue.waiting, queue.parked, worst.created_ms, why, do))
    return tuple(found)
