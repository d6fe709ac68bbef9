"""Episodes of trays that are judged together, read rule by rule when the first of them is asked for."""

from collections.abc import Iterable

from traywarden.domain.episodes import Episode
from traywarden.domain.subjects import Subject
from traywarden.store import episodes as episode_store
from traywarden.store.store import Tx


class KeptEpisodes:
    """Of these subjects those episodes that are open or ended after `since_ms`.

    Where nothing late came in, older ones can neither change nor share their id with a new one.
    """

    def __init__(self, tx: Tx, subjects: Iterable[Subject], since_ms: int) -> None:
        self._tx, self._subjects, self._since_ms = tx, tuple(subjects), since_ms
        self._found: dict[str, dict[Subject, list[Episode]]] = {}

    def of(self, rule: str, subject: Subject) -> list[Episode]:
        """The newest opened first."""
        if rule not in self._found:
            self._found[rule] = episode_store.since(self._tx, rule, self._subjects, self._since_ms)
        return self._found[rule][subject]
