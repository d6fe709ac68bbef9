"""Which subjects are still taking in old readings, so that what they bring is told in one piece."""

from dataclasses import dataclass, replace

from traywarden.domain.subjects import Subject

SILENT_S = 60.0
PLAYED_ON_MS = 3_600_000
LONGEST_HOLD_S = 600.0
"""A tray that never stops sending old readings (a probe whose clock is wrong) is told of all the same."""


@dataclass(frozen=True, slots=True)
class _Spell:
    first_s: float
    last_s: float
    last_ms: int


class Spells:
    """Per subject, the stretch in which old readings keep coming in. `*_s` is monotonic, `*_ms` the clock."""

    def __init__(self) -> None:
        self._spells: dict[Subject, _Spell] = {}

    def note(self, subject: Subject, now_s: float, now_ms: int) -> None:
        """Old readings have come in for the subject."""
        spell = self._spells.get(subject)
        goes_on = spell is not None and now_s - spell.last_s < SILENT_S
        self._spells[subject] = _Spell(spell.first_s if spell and goes_on else now_s, now_s, now_ms)

    def told(self, now_s: float) -> None:
        """What was held has been let go: spells that go on are counted from here."""
        self._spells = {subject: replace(spell, first_s=now_s) for subject, spell in self._spells.items()}

    def settled(self, subject: Subject, now_s: float, now_ms: int) -> bool:
        """No old readings for a minute (or an hour of a garden played back fast), or enough of waiting."""
        spell = self._spells.get(subject)
        if spell is None:
            return True
        silent = now_s - spell.last_s >= SILENT_S or now_ms - spell.last_ms >= PLAYED_ON_MS
        return silent or now_s - spell.first_s >= LONGEST_HOLD_S
