"""One tray at the instants that matter: what was known of it then, and what rules make of that."""

from bisect import bisect_left, bisect_right
from collections.abc import Mapping
from dataclasses import replace
from itertools import pairwise

import numpy as np

from traywarden.domain.deciding import deciding
from traywarden.domain.episodes import Delays, RuleState, Stretch, fold
from traywarden.domain.evidence import Evidence, Tracks, stage_of
from traywarden.domain.rules import ANSWERS, BLIND, CodeArray, Rule, Spell, Verdict
from traywarden.domain.series import IntArray
from traywarden.services.tray_knowledge import TrayKnowledge

FEW = 12
"""Of so few instants a rule is asked one by one: that is sooner done than asking of all at once."""


class Instants:
    """One tray at the instants that matter."""

    def __init__(
        self, known: TrayKnowledge, tracks: Tracks, chosen: IntArray, answers: Mapping[str, CodeArray]
    ) -> None:
        self._known, self._tracks = known, tracks
        self._chosen: list[int] = chosen.tolist()
        self.at_ms: list[int] = tracks.at_ms[chosen].tolist()
        self._codes = {name: codes[chosen] for name, codes in answers.items()}
        self._newest: tuple[int, Evidence] | None = None  # every rule is asked of it, one after another

    def evidence(self, number: int) -> Evidence:
        """What was known of the tray at that instant."""
        if self._newest is None or number != self._newest[0]:
            known, at_ms = self._known, self.at_ms[number]
            mix, sown, planted_out = known.at(at_ms)
            heads = self._tracks.samples(self._chosen[number])
            tray = known.tray
            self._newest = number, Evidence(at_ms, tray.name, heads, mix, tray.litres, sown, planted_out)
        return self._newest[1]

    def verdicts(self, rule: Rule) -> list[tuple[int, Verdict]]:
        """What a rule says at each instant. The newest, and the newest that is not blind, say why; of the
        others only the answer is told, where the rule answers many instants at once."""
        codes = self._codes.get(rule.name)
        if codes is None:
            return [(at_ms, rule.judge(self.evidence(n))) for n, at_ms in enumerate(self.at_ms)]
        found = [(at_ms, _BARE[code]) for at_ms, code in zip(self.at_ms, codes.tolist(), strict=True)]
        for number in {*range(len(found))[-1:], *np.flatnonzero(codes != BLIND)[-1:].tolist()}:
            found[number] = (self.at_ms[number], rule.judge(self.evidence(number)))
        return found

    def folded(
        self, rule: Rule, begin: RuleState, delays: Delays
    ) -> tuple[RuleState, list[Stretch], Verdict | None]:
        """The `fold` of all that a rule says after `begin`, and the newest of that; of many instants a reason
        in words is made only for those that are told."""
        first = bisect_right(self.at_ms, begin.judged_to_ms)
        if first == len(self.at_ms):
            return *fold(begin, (), delays), None
        many = len(self.at_ms) - first > FEW
        codes = self._answers(rule) if many else None
        if codes is None:
            said = [(at_ms, self._said(rule, n)) for n, at_ms in enumerate(self.at_ms[first:], first)]
            return *fold(begin, said, delays), said[-1][1]
        chosen = deciding(np.array(self.at_ms[first:]), codes[first:], begin, delays) + first
        said = [(self.at_ms[n], _BARE[codes[n]]) for n in chosen.tolist()]
        newest = self._said(rule, -1)
        said[-1] = (said[-1][0], newest)
        state, stretches = fold(begin, said, delays)
        return state, [self._in_words(rule, stretch) for stretch in stretches], newest

    def _answers(self, rule: Rule) -> CodeArray | None:
        """What the rule answers at each instant; None where it can only be asked one by one."""
        if rule.name in self._codes:
            return self._codes[rule.name]
        codes = answers_of(rule, self._known, self._tracks)
        return None if codes is None else codes[self._chosen]

    def _said(self, rule: Rule, number: int) -> Verdict:
        return rule.judge(self.evidence(number))

    def _in_words(self, rule: Rule, stretch: Stretch) -> Stretch:
        opening, closing = stretch.opening, stretch.closing
        if opening is not None:
            opening = self._said(rule, bisect_left(self.at_ms, stretch.opening_decided_ms))
        if closing is not None and stretch.closing_decided_ms is not None:
            closing = self._said(rule, bisect_left(self.at_ms, stretch.closing_decided_ms))
        return replace(stretch, opening=opening, closing=closing)


_BARE = tuple(Verdict(answer, "", at_once=at_once) for answer, at_once in ANSWERS)


def answers_of(rule: Rule, known: TrayKnowledge, tracks: Tracks) -> CodeArray | None:
    """What the rule answers at every instant; None where it can only be asked one by one."""
    if rule.answers is None:
        return None
    edges = [0, *np.searchsorted(tracks.at_ms, known.from_ms).tolist(), tracks.at_ms.size]
    parts = [np.empty(0, np.int8)]
    for first, last in pairwise(edges):
        if first < last:
            mix, sown, planted_out = known.at(int(tracks.at_ms[first]))
            wet, soil_c = tracks.moisture_m3_m3[:, first:last], tracks.soil_temp_c[:, first:last]
            stage = stage_of(int(tracks.at_ms[first]), sown, planted_out=planted_out)
            parts.append(rule.answers(Spell(wet, soil_c, mix, sown, planted_out, stage, tracks.calibrated)))
    return np.concatenate(parts)
