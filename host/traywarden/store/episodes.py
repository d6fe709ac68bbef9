"""Where every rule stands for every subject, and the episodes found."""

from collections.abc import Iterable, Mapping, Sequence
from typing import Any

from sqlalchemy import Row, bindparam, delete, func, insert, select, update

from traywarden.domain.episodes import Episode, RuleState
from traywarden.domain.rules import Answer
from traywarden.domain.subjects import Subject
from traywarden.store import schema
from traywarden.store.store import Tx

_state, _episode, _reading = schema.rule_state, schema.episode, schema.reading
_CHUNK = 400
Key = tuple[str, Subject]


def rule_states(tx: Tx) -> dict[Key, tuple[RuleState, dict[str, Any]]]:
    """By (rule, subject): where the rule stands, and the watch's own marks beside it."""
    return {
        (row.rule, Subject.named(row.subject)): (
            RuleState(
                row.judged_to_ms,
                row.state.get("open_since_ms"),
                row.state.get("run_since_ms"),
                row.state.get("used_ms"),
                Answer(row.state.get("answer", Answer.BLIND)),
                row.state.get("reason", ""),
            ),
            row.state.get("marks", {}),
        )
        for row in tx.execute(select(_state))
    }


def set_rule_states(tx: Tx, states: Mapping[Key, tuple[RuleState, Mapping[str, Any]]]) -> None:
    """Keep where rules stand, replacing what was kept for the same rule and subject."""
    rows = [
        {
            "rule": rule,
            "subject": str(subject),
            "judged_to_ms": state.judged_to_ms,
            "state": {
                "open_since_ms": state.open_since_ms,
                "run_since_ms": state.run_since_ms,
                "used_ms": state.used_ms,
                "answer": state.answer.value,
                "reason": state.reason,
                "marks": dict(marks),
            },
        }
        for (rule, subject), (state, marks) in states.items()
    ]
    if not rows:
        return
    key = (_state.c.rule == bindparam("this_rule")) & (_state.c.subject == bindparam("this_subject"))
    keys = [{"this_rule": row["rule"], "this_subject": row["subject"]} for row in rows]
    tx.execute(delete(_state).where(key), keys)
    tx.execute(insert(_state), rows)


def episodes(
    tx: Tx,
    *,
    rule: str | None = None,
    subject: Subject | None = None,
    open_only: bool = False,
    limit: int | None = None,
) -> list[Episode]:
    """Episodes, the newest opened first."""
    chosen = select(_episode).order_by(_episode.c.opened_ms.desc(), _episode.c.episode_id)
    if rule is not None:
        chosen = chosen.where(_episode.c.rule == rule)
    if subject is not None:
        chosen = chosen.where(_episode.c.subject == str(subject))
    if open_only:
        chosen = chosen.where(_episode.c.closed_ms.is_(None))
    if limit is not None:
        chosen = chosen.limit(limit)
    return [_made(row) for row in tx.execute(chosen)]


def since(tx: Tx, rule: str, subjects: Iterable[Subject], since_ms: int) -> dict[Subject, list[Episode]]:
    """Episodes of a rule and each of several subjects that are open or ended after `since_ms`."""
    found: dict[Subject, list[Episode]] = {subject: [] for subject in subjects}
    names = [str(subject) for subject in found]
    for start in range(0, len(names), _CHUNK):
        chosen = (
            select(_episode)
            .where(
                _episode.c.subject.in_(names[start : start + _CHUNK]),
                _episode.c.rule == rule,
                _episode.c.closed_ms.is_(None) | (_episode.c.closed_ms > since_ms),
            )
            .order_by(_episode.c.opened_ms.desc(), _episode.c.episode_id)
        )
        for row in tx.execute(chosen):
            made = _made(row)
            found[made.subject].append(made)
    return found


def standing(tx: Tx, at_ms: int) -> list[Episode]:
    """Episodes that were open at an instant, the newest opened first."""
    chosen = (
        select(_episode)
        .where(_episode.c.opened_ms <= at_ms, _episode.c.closed_ms.is_(None) | (_episode.c.closed_ms > at_ms))
        .order_by(_episode.c.opened_ms.desc(), _episode.c.episode_id)
    )
    return [_made(row) for row in tx.execute(chosen)]


def episodes_named(tx: Tx, ids: Iterable[str]) -> dict[str, Episode]:
    """Those of the given ids that are kept."""
    wanted = sorted(set(ids))
    found: dict[str, Episode] = {}
    for start in range(0, len(wanted), _CHUNK):
        chosen = select(_episode).where(_episode.c.episode_id.in_(wanted[start : start + _CHUNK]))
        found |= {row.episode_id: _made(row) for row in tx.execute(chosen)}
    return found


def begun_after(tx: Tx, subjects: Iterable[Subject], after_ms: int) -> list[Episode]:
    """Episodes of these subjects that began after an instant, by whatever rule."""
    wanted = sorted({str(subject) for subject in subjects})
    found: list[Episode] = []
    for start in range(0, len(wanted), _CHUNK):
        mine = _episode.c.subject.in_(wanted[start : start + _CHUNK]) & (_episode.c.opened_ms > after_ms)
        found += [_made(row) for row in tx.execute(select(_episode).where(mine))]
    return found


def keep_episode(tx: Tx, episode: Episode) -> None:
    """Write an episode: opened for the first time, or with an end that has changed."""
    keep_episodes(tx, [episode])


def keep_episodes(tx: Tx, kept: Iterable[Episode]) -> None:
    """`keep_episode` of each; of one that is there twice the later stands."""
    rows = {
        each.episode_id: {
            "episode_id": each.episode_id,
            "rule": each.rule,
            "subject": str(each.subject),
            "opened_ms": each.opened_ms,
            "closed_ms": each.closed_ms,
            "facts": dict(each.facts),
        }
        for each in kept
    }
    ids = list(rows)
    known: set[str] = set()
    for start in range(0, len(ids), _CHUNK):
        named = _episode.c.episode_id.in_(ids[start : start + _CHUNK])
        known.update(tx.scalars(select(_episode.c.episode_id).where(named)))
    if known:
        this = _episode.c.episode_id == bindparam("this_id")
        changed = [
            {"this_id" if name == "episode_id" else name: value for name, value in row.items()}
            for episode_id, row in rows.items()
            if episode_id in known
        ]
        tx.execute(update(_episode).where(this), changed)
    if fresh := [row for episode_id, row in rows.items() if episode_id not in known]:
        tx.execute(insert(_episode), fresh)


def earliest_received_since(
    tx: Tx, head_ids: Sequence[int], received_ms: int, from_ms: int, before_ms: int
) -> int | None:
    """Earliest time measured in [from_ms, before_ms) among readings received at received_ms or later.

    This is how readings that came in late, while nobody was judging, are found again.
    """
    if not head_ids:
        return None
    earliest: int | None = tx.execute(
        select(func.min(_reading.c.time_ms)).where(
            _reading.c.head_id.in_(head_ids),
            _reading.c.time_ms >= from_ms,
            _reading.c.time_ms < before_ms,
            _reading.c.received_ms >= received_ms,
        )
    ).scalar()
    return earliest


def _made(row: Row[Any]) -> Episode:
    return Episode(
        row.episode_id, row.rule, Subject.named(row.subject), row.opened_ms, row.closed_ms, row.facts
    )
