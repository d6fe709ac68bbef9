"""Where every rule stands for every subject, in memory; the watch keeps it in the store now and then."""

from collections.abc import Callable, Collection, Iterator, Mapping, Sequence

from traywarden.domain.episodes import NEVER_MS, RuleState
from traywarden.domain.rules import Verdict
from traywarden.domain.subjects import Subject, a_tray
from traywarden.points import point
from traywarden.store import episodes as episode_store
from traywarden.store.episodes import Key
from traywarden.store.store import Store

AT_ONCE = 500
"""So many are kept in one transaction: readings that come in meanwhile wait no longer than for these."""


class RuleStates:
    """`rules`: those that are asked at every reading. `marks`: up to where the watch has looked."""

    def __init__(self, rules: Collection[str]) -> None:
        self._rules = tuple(rules)
        self.known: dict[Key, RuleState] = {}
        self.verdicts: dict[Key, Verdict] = {}
        self.marks: dict[str, int] = {}
        self._unkept: set[Key] = set()
        self._loaded = False

    def load(self, store: Store) -> None:
        """As they were kept last; only the first time."""
        if self._loaded:
            return
        with store.read() as tx:
            kept = episode_store.rule_states(tx)
        self.known = {key: state for key, (state, _) in kept.items()}
        marks = [marks for (rule, _), (_, marks) in kept.items() if rule in self._rules]
        self.marks = {
            name: min((m.get(name, 0) for m in marks), default=0) for name in ("received_ms", "entry_id")
        }
        self._loaded = True

    def judged_to(self, subject: Subject) -> int:
        """Up to when a subject has been judged by the rules that are asked at every reading."""
        known = (self.known.get((name, subject)) for name in self._rules)
        return max((state.judged_to_ms for state in known if state is not None), default=NEVER_MS)

    def tray_judged_to(self, tray_id: int) -> int:
        return self.judged_to(a_tray(tray_id))

    def never_judged(self, tray_ids: Collection[int]) -> set[int]:
        """Trays of which some rule has never been asked."""
        return {t for t in tray_ids if any((name, a_tray(t)) not in self.known for name in self._rules)}

    def adopt(self, states: Mapping[Key, RuleState]) -> None:
        """This is how they stand now."""
        self._unkept |= {key for key, state in states.items() if self.known.get(key) != state}
        self.known |= states

    def each_turned(self, turn: Callable[[RuleState], RuleState]) -> None:
        """Turn the states of the rules that are asked at every reading."""
        turned = {key: turn(state) for key, state in self.known.items() if key[0] in self._rules}
        self.adopt({key: state for key, state in turned.items() if state is not self.known[key]})

    def keep(
        self,
        store: Store,
        received_ms: int,
        *,
        everything: bool = False,
        enough: Callable[[], bool] = lambda: False,
    ) -> bool:
        """Keep what has changed, so that a restart need not look far back; False: `enough` came first."""
        marks = {**self.marks, "received_ms": received_ms}
        keys = list(self.known if everything else self._unkept)
        for some in _parts(keys):
            with store.write() as tx:
                episode_store.set_rule_states(tx, {key: (self.known[key], marks) for key in some})
                point("unchanged rule states written")
            self._unkept.difference_update(some)
            if not everything and self._unkept and enough():
                return False
        if everything:
            self.marks = marks
        return True


def _parts(keys: Sequence[Key]) -> Iterator[Sequence[Key]]:
    for first in range(0, len(keys), AT_ONCE):
        yield keys[first : first + AT_ONCE]
