"""What the watch knows of one tray: its own part of the journal, and what was in it from which instant on."""

from bisect import bisect_right
from collections.abc import Callable, Mapping

from traywarden.domain.evidence import Sown
from traywarden.domain.garden import Mix, Tray
from traywarden.domain.journal import CAPACITY_TURNS, Facts, Kind
from traywarden.domain.stage import DAY_MS, EMERGING_D

TURNS = (Kind.SOWED, Kind.EMERGED, Kind.POTTED_UP, Kind.PLANTED_OUT, *CAPACITY_TURNS)


class TrayKnowledge:
    """One tray: its own part of the journal, and what was in it from which instant on."""

    def __init__(
        self, tray: Tray, facts: Facts, mixes: Mapping[int, Mix], sown: Callable[[int], Sown | None]
    ) -> None:
        self.tray, self.facts = tray, facts
        self._mixes, self._sown = mixes, sown
        turns = [e for e in facts.entries if e.kind in TURNS and e.tray_id in (None, tray.tray_id)]
        # What emerges counts as seedlings some days later, though nobody writes that down.
        grown = {e.at_ms + EMERGING_D * DAY_MS for e in turns if e.kind is Kind.EMERGED}
        self.from_ms = sorted({e.at_ms for e in turns} | grown)
        self._known: dict[int, tuple[Mix | None, Sown | None, bool]] = {}

    def at(self, at_ms: int) -> tuple[Mix | None, Sown | None, bool]:
        """Mix, sowing that stands, and whether it was planted out, at an instant."""
        step = bisect_right(self.from_ms, at_ms) - 1
        if step < 0:
            return None, None, False
        if step not in self._known:
            tray_id, from_ms = self.tray.tray_id, self.from_ms[step]
            mix = self._mixes.get(self.facts.mix_of_tray(tray_id, from_ms) or -1)
            self._known[step] = (
                None if mix is None else self.facts.mix_as_held(mix, tray_id, from_ms),
                self._sown(from_ms),
                self.facts.planted_out(tray_id, from_ms),
            )
        return self._known[step]
