"""Whether the end of an episode is told: not to whom it says nothing new, nor where it is wrong by now."""

from collections.abc import Callable, Sequence

from traywarden.domain.episodes import ChangeKind, Episode
from traywarden.domain.notices import Notice, NoticeState
from traywarden.domain.subjects import Subject
from traywarden.services.notice_plan import latest, told_ms
from traywarden.store import episodes as episode_store
from traywarden.store import notices as notice_store
from traywarden.store.store import Tx

Answered = Callable[[Episode, int], str]
"""Of an episode, which deed since then it is over because of, in words; empty where none is known."""
BEGUN_AGAIN = "not sent: it had begun again by then"


def not_known(episode: Episode, since_ms: int) -> str:
    """Nobody knows of any deed."""
    del episode, since_ms
    return ""


def known_to_be_over(
    episode: Episode, mine: Sequence[Notice], answered: Answered, now_ms: int, *, all_the_same: bool
) -> str:
    """Why an end need not be told: whoever was told of the beginning has done something about it.

    `mine`: what its channel was told of the episode; `all_the_same`: it is told for others who might set out.
    """
    start = latest(mine, episode.episode_id)
    if all_the_same or start is None or start.state is not NoticeState.SENT:
        return ""
    deed = answered(episode, told_ms(start, now_ms))
    return f"not sent: the journal has what ended it ({deed})" if deed else ""


class Later:
    """What each channel is told of episodes of the same need that began after an end that is held."""

    def __init__(self, tx: Tx, ended: Sequence[Episode]) -> None:
        since_ms = min((e.opened_ms for e in ended), default=0)
        newer = episode_store.begun_after(tx, (e.subject for e in ended), since_ms) if ended else []
        self._of_need: dict[tuple[str, Subject], list[Episode]] = {}
        for episode in newer:
            self._of_need.setdefault((episode.rule, episode.subject), []).append(episode)
        self._told = notice_store.about_all(tx, (e.episode_id for e in newer))

    def begun_again(self, episode: Episode, channel: str) -> bool:
        """Whether the channel has been told, or is being told, that it began again."""
        return bool(self._states(episode, channel) & {NoticeState.SENT, NoticeState.WAITING})

    def may_begin_again(self, episode: Episode, channel: str) -> bool:
        """Whether that it began again is held: it may yet be told, or be over before it is."""
        return NoticeState.HELD in self._states(episode, channel)

    def _states(self, episode: Episode, channel: str) -> set[NoticeState]:
        return {
            n.state
            for later in self._of_need.get((episode.rule, episode.subject), ())
            if later.opened_ms > episode.opened_ms
            for n in self._told[later.episode_id]
            if n.channel == channel and (later.episode_id, ChangeKind.OPENED) in n.changes
        }
