"""Keeping: changes of episodes, what is told of them and where rules stand, in one transaction."""

from collections.abc import Mapping, Sequence

from traywarden.domain.episodes import Change, RuleState
from traywarden.points import point
from traywarden.services.notice_plan import Plan
from traywarden.store import episodes as episode_store
from traywarden.store.episodes import Key
from traywarden.store.store import Store


def write(
    store: Store,
    changes: Sequence[Change],
    plan: Plan,
    states: Mapping[Key, RuleState],
    marks: Mapping[str, int],
) -> None:
    """Nothing where nothing has changed: where rules stand is then kept now and then."""
    if not changes:
        return
    with store.write() as tx:
        episode_store.keep_episodes(tx, (change.episode for change in changes))
        point("episodes written")
        plan.write(tx)
        point("notices written")
        episode_store.set_rule_states(tx, {key: (state, marks) for key, state in states.items()})
        point("rule states written")
    point("changes committed")
