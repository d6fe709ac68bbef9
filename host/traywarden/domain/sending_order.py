"""In which order waiting notices go out: of one need never a later one first, else the most urgent first."""

from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from itertools import pairwise

from traywarden.domain.episodes import ChangeKind, began_ms, need_of
from traywarden.domain.notices import Notice
from traywarden.domain.severities import SEVERITIES

_KINDS = (ChangeKind.OPENED, ChangeKind.REMINDED, ChangeKind.CLOSED)
"""Within one episode, in the order in which they happen. A digest of the past says itself when it was."""

Moment = tuple[int, int, int]


def moments(notice: Notice) -> Mapping[str, Moment]:
    """Of each need that a notice tells of, where that stands among all that is told of the need."""
    found: dict[str, Moment] = {}
    for episode_id, kind in notice.changes:
        if kind in _KINDS:
            at = began_ms(episode_id), notice.created_ms, _KINDS.index(kind)
            found[need_of(episode_id)] = max(at, found.get(need_of(episode_id), at))
    return found


def in_order(
    waiting: Sequence[Notice], now_ms: int, refused: Collection[str] = (), *, least_tried: bool = False
) -> list[Notice]:
    """Those of one channel's waiting notices that are due, in the order in which to send them.

    Parameters
    ----------
    waiting : sequence of Notice
        All that wait on the channel, due or not.
    now_ms : int [ms since 1970]
    refused : collection of str
        Notices that the channel does not take though it takes others: nothing waits for them, they go last.
    least_tried : bool
        Whether what was tried least goes first, to see whether it is one notice or the channel that fails.

    Returns
    -------
    list of Notice
        Most urgent first, then oldest; but before each what tells of the same need and comes before it, which
        is due as soon as what comes after it is.

    Notes
    -----
    What comes before something urgent is as urgent, and what comes after something that was tried in vain has
    been tried as often.
    """
    by_id = {n.notice_id: n for n in waiting}
    before = _before([n for n in waiting if n.notice_id not in refused])
    urgency = {n.notice_id: -SEVERITIES.index(n.severity) for n in waiting}
    attempts = {n.notice_id: n.attempts for n in waiting}
    for name in by_id:
        for earlier in _all_before(name, before):
            urgency[earlier] = min(urgency[earlier], urgency[name])
            attempts[name] = max(attempts[name], by_id[earlier].attempts)

    def rank(name: str) -> tuple[bool, int, int, int, str]:
        tried = attempts[name] if least_tried else 0
        return name in refused, tried, urgency[name], by_id[name].created_ms, name

    ordered: dict[str, None] = {}
    for name in sorted((n.notice_id for n in waiting if n.next_try_ms <= now_ms), key=rank):
        for earlier in reversed(list(_all_before(name, before))):
            ordered.setdefault(earlier)
        ordered.setdefault(name)
    return [by_id[name] for name in ordered]


def overtaken(sent: Notice, waiting: Iterable[Notice]) -> list[Notice]:
    """Which waiting notices tell of a need what comes before that which has been sent of it."""
    mine = moments(sent)
    return [n for n in waiting if any(need in mine and at < mine[need] for need, at in moments(n).items())]


def _before(waiting: Sequence[Notice]) -> dict[str, list[str]]:
    """Of each notice, those that come next before it, one for each need."""
    chains: dict[str, list[tuple[Moment, str]]] = {}
    for notice in waiting:
        for need, at in moments(notice).items():
            chains.setdefault(need, []).append((at, notice.notice_id))
    before: dict[str, list[str]] = {}
    for chain in chains.values():
        names = [name for _, name in sorted(chain)]
        for earlier, later in pairwise(names):
            before.setdefault(later, []).append(earlier)
    return before


def _all_before(name: str, before: Mapping[str, Sequence[str]]) -> Iterator[str]:
    """All that come before it, the nearest first; what two needs put in opposite orders comes once."""
    seen, coming = {name}, list(before.get(name, ()))
    while coming:
        earlier = coming.pop(0)
        if earlier not in seen:
            seen.add(earlier)
            yield earlier
            coming += before.get(earlier, ())
