"""Shadows: what is not told by itself while something else, told already, keeps it from being seen."""

from collections.abc import Iterable, Mapping

from traywarden.domain.subjects import HOST, Subject, SubjectKind
from traywarden.services.knowledge import Knowledge
from traywarden.store.episodes import Key

OF_PROBE = ("battery", "faulty", "pulled", "clock")
BY_AIR = ("vent", "shut")
"""Rules of a place that hang on readings from there; a forecast tells frost and rain all the same."""
BY_MOISTURE = ("dry", "drying", "waterlogged", "damp")
OWN = ("quiet", "broker")
PASSED_MS = 24 * 3_600_000
"""Cold by night that no night brought back for so long has passed, though its episode waits for its end; so
has heat by day (common practice, no source)."""


class Shadows:
    """What stands in a shadow at one moment.

    `standing`: rule and subject of every open episode, and since when the rule has said no without a break,
    which will end it; None where it says something else.
    """

    def __init__(self, standing: Mapping[Key, int | None], knowledge: Knowledge, now_ms: int) -> None:
        self._knowledge, self._now_ms = knowledge, now_ms
        self._no_broker = ("broker", HOST) in standing
        self._quiet = {s.number for rule, s in standing if rule == "quiet"}
        self._pulled = {s.number for rule, s in standing if rule == "pulled"}
        self._dry = {s.number for rule, s in standing if rule == "dry"}
        self._cold, self._hot = (
            {
                s.number
                for (rule, s), no_since_ms in standing.items()
                if rule == named and (no_since_ms is None or now_ms - no_since_ms < PASSED_MS)
            }
            for named in ("cold", "hot")
        )

    def over(self, rule: str, subject: Subject) -> str:
        """Why an episode is not told by itself now; empty where it is."""
        if rule == "quiet":
            return "waits while the broker is out of reach" if self._no_broker else ""
        if subject.kind is SubjectKind.PROBE:
            blind = rule in OF_PROBE and subject.number in self._quiet
            return self._silent({subject.number}) if blind else ""
        if subject.kind is SubjectKind.TRAY:
            return self._of_tray(rule, subject.number)
        if subject.kind is SubjectKind.PLACE and rule in BY_AIR:
            probes = self._probes_at(subject.number)
            return self._silent(probes) if probes and probes <= self._quiet else ""
        return ""

    def _of_tray(self, rule: str, tray_id: int) -> str:
        probes = self._probes_in(tray_id)
        if probes and probes <= self._quiet:
            return self._silent(probes)
        if probes and rule in BY_MOISTURE and probes <= self._pulled:
            return f"waits while a head of {self._named(probes)} is out of its mix"
        if rule == "drying" and tray_id in self._dry:
            return "waits while it is dry already"
        return self._swings(rule, tray_id)

    def _swings(self, rule: str, tray_id: int) -> str:
        """Of a tray that is too cold by night and too warm by day one is told: the cold, as a warm noon is
        what its seed lives on then; but the heat, where seed falls asleep in it (no source). Once the other
        has not come back for a day, both are."""
        other = {"hot": self._cold, "cold": self._hot}.get(rule, set())
        if tray_id not in other:
            return ""
        _, sown, _ = self._knowledge.of(tray_id).at(self._now_ms)
        asleep = sown is not None and sown.falls_asleep
        if asleep == (rule == "hot"):
            return ""
        return f"waits while it is too {'warm by day' if asleep else 'cold by night'}"

    def _silent(self, probes: Iterable[int]) -> str:
        return f"waits while {self._named(probes)} is quiet"

    def _named(self, probes: Iterable[int]) -> str:
        return " and ".join(sorted(self._knowledge.probes[p].called for p in probes))

    def _probes_in(self, tray_id: int) -> set[int]:
        stays = self._knowledge.of(tray_id).facts.heads_in_tray(tray_id, self._now_ms, self._now_ms + 1)
        return {self._knowledge.probe_of_head[stay.subject] for stay in stays}

    def _probes_at(self, place_id: int) -> set[int]:
        """Probes that hang in a place, or else have a head in a tray that stands there."""
        known, now_ms = self._knowledge, self._now_ms
        hung = known.heads_hung(place_id, now_ms)
        if hung:
            return {known.probe_of_head[head_id] for head_id in hung}
        here = [t for t in known.trays if (p := known.place_of(t, now_ms)) and p.place_id == place_id]
        return {probe for tray_id in here for probe in self._probes_in(tray_id)}
