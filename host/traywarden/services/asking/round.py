"""One round of the rules that are asked every so often: what several of them need is worked out once."""

import logging
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from functools import cached_property
from typing import TypeVar

from traywarden.domain.evidence import Sown, level_of, stage_of
from traywarden.domain.garden import Place, Tray
from traywarden.domain.levels import Levels, Of
from traywarden.domain.rules import Answer, Verdict
from traywarden.domain.stage import Stage
from traywarden.domain.subjects import Subject
from traywarden.errors import ShortOfDataError, StoreError, UsageError
from traywarden.services.drying_now import DryingNow
from traywarden.services.knowledge import Knowledge
from traywarden.services.probe_cards import ProbeCard, probe_cards
from traywarden.services.questions.ground import DAY_MS, Ground
from traywarden.services.questions.nursery import Nursery
from traywarden.services.questions.waterings import tray_waterings
from traywarden.services.sky import Sky, air_forecast, sky_of
from traywarden.services.wettings import LEAD_MS, LOOK_BACK_MS
from traywarden.store import episodes as episode_store
from traywarden.store.episodes import Key
from traywarden.turns import give_way

T = TypeVar("T")
log = logging.getLogger(__name__)
Verdicts = Mapping[Subject, Verdict]
STANDS = (Stage.EMERGING, Stage.SEEDLING, Stage.POTTED_UP)
"""Stages in which plants are above the mix."""


@dataclass(frozen=True, slots=True)
class Vitals:
    """How the host itself does; None where it cannot be told, or no host runs.

    `hears_since_ms`: since when readings can have come in, as the host ran and the broker was in reach.
    """

    free_mb: float | None = None
    broker_gone_s: float | None = None
    broker: str = ""
    commit_s: float | None = None
    hears_since_ms: int | None = None


@dataclass(frozen=True, slots=True)
class Standing:
    """One tray as it is now."""

    tray: Tray
    place: Place | None
    sown: Sown | None
    stage: Stage
    of: Of


class Round:
    """Every rule of one moment looks at the same snapshot of the store."""

    def __init__(
        self,
        ground: Ground,
        knowledge: Callable[[], Knowledge],
        vitals: Vitals,
        *,
        as_of_then: bool = False,
        open_since_ms: Mapping[Key, int] | None = None,
    ) -> None:
        self.ground, self.vitals = ground, vitals
        self._known = knowledge  # asked for where it is wanted: it takes the whole journal
        self._as_of_then, self._given_open_since_ms = as_of_then, open_since_ms
        self._levels: dict[str, Levels] = {}

    @property
    def now_ms(self) -> int:
        return self.ground.now_ms

    @cached_property
    def knowledge(self) -> Knowledge:
        return self._known()

    def levels(self, rule: str) -> Levels:
        if rule not in self._levels:
            self._levels[rule] = self.ground.settings.levels(rule)
        return self._levels[rule]

    def open_since_ms(self, rule: str, subject: Subject) -> int | None:
        """Since when the rule has been open there; None where it is not."""
        return self._open_since_ms.get((rule, subject))

    @cached_property
    def _open_since_ms(self) -> Mapping[Key, int]:
        if self._given_open_since_ms is not None:
            return self._given_open_since_ms
        standing = episode_store.episodes(self.ground.tx, open_only=True)
        return {(each.rule, each.subject): each.opened_ms for each in standing}

    @cached_property
    def trays(self) -> tuple[Standing, ...]:
        found = []
        for tray in self.ground.trays.values():
            mix, sown, planted_out = self.knowledge.of(tray.tray_id).at(self.now_ms)
            stage = stage_of(self.now_ms, sown, planted_out=planted_out)
            place = self.ground.place_of(tray.tray_id, self.now_ms)
            found.append(Standing(tray, place, sown, stage, level_of(mix, sown, stage)))
        return tuple(found)

    def tray(self, tray_id: int) -> Standing:
        return next(each for each in self.trays if each.tray.tray_id == tray_id)

    def trays_in(self, place: Place) -> list[Standing]:
        """What stands in a place, save what is empty or was planted out."""
        gone = (Stage.EMPTY, Stage.PLANTED_OUT)
        here = [t for t in self.trays if t.place is not None and t.place.place_id == place.place_id]
        return [t for t in here if t.stage not in gone]

    @cached_property
    def drying(self) -> DryingNow:
        start_ms = self.now_ms - LOOK_BACK_MS
        water = tray_waterings(self.ground, start_ms, self.now_ms + 1)
        return DryingNow(self.ground, water, start_ms - LEAD_MS, air_forecast(self.ground))

    @cached_property
    def nursery(self) -> Nursery:
        return Nursery(self.ground)

    @cached_property
    def sky(self) -> Sky:
        return sky_of(self.ground)

    @cached_property
    def open_place(self) -> Place | None:
        """The place without a cover whose air was measured best of late."""
        best: tuple[int, Place] | None = None
        for place in self.ground.places.values():
            if place.covered:
                continue
            heads = self.ground.place_heads(place.place_id, "air", self.now_ms - DAY_MS, self.now_ms + 1)
            known = sum(int(head.used("air_temp_c")[0].size) for head in heads)
            if known and (best is None or known > best[0]):
                best = known, place
        return None if best is None else best[1]

    @cached_property
    def probes(self) -> list[ProbeCard]:
        return probe_cards(self.ground.tx, self.now_ms, as_of_then=self._as_of_then)


Ask = Callable[[Round], Verdicts]


def of_each(things: Iterable[T], named: Callable[[T], Subject], judge: Callable[[T], Verdict]) -> Verdicts:
    """What is said of each thing; one that cannot be judged is blind, and the others are judged as ever."""
    found: dict[Subject, Verdict] = {}
    for thing in things:
        give_way()
        subject = named(thing)
        try:
            found[subject] = judge(thing)
        except StoreError:
            raise
        except (ShortOfDataError, UsageError) as short:
            found[subject] = Verdict(Answer.BLIND, str(short))
        except Exception:  # one strange record must not silence the others
            log.exception("%s cannot be judged", subject)
            found[subject] = Verdict(Answer.BLIND, "it could not be judged; the host's log says why")
    return found
