"""How much of the seed that can sprout comes up in a kind of place, from the garden's own trays.

Every tray has a share e of its own; its logit lies about that of its kind of place, which lies about that of
all kinds. Kinds with few trays lean on the others (partial pooling). Everything is summed over a grid.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from itertools import product
from typing import TypeAlias

import numpy as np
from scipy import special

from traywarden.domain.germination_metrics import Floats
from traywarden.domain.lot_germination import GRID, interval_of, log_binomial

LOGIT: Floats = np.arange(-40, 61) / 10.0
SHARE: Floats = special.expit(LOGIT)
"""Shares told apart, even in their logit."""
ALL_MIDDLE = 2.2
ALL_SPREAD = 0.8
"""Before any tray is counted: 90 of 100 seeds that can sprout come up, in the logit ± 0.8 (no source)."""
KIND_SPREAD = 0.5
TRAY_SPREAD = 0.6
"""How far kinds of place, and trays of one kind, are thought to scatter in their logit: the scale of a
half-normal distribution (no source). What the trays show moves it."""
ODD = 0.05
"""Part of the trays, and of the kinds of place, that do not follow the others at all (no source)."""
ANYTHING: Floats = SHARE * (1 - SHARE) / (SHARE * (1 - SHARE)).sum()
NODES = 3


@dataclass(frozen=True, slots=True)
class TrayRecord:
    """A tray that came up to its end, at a kind of place; `germination`: chances of GRID of its lot."""

    up: int
    sown: int
    kind: str
    covered: bool
    germination: Floats


@dataclass(frozen=True, slots=True)
class Node:
    """One guess at the scatters: of kinds, of trays under cover, of trays in the open."""

    kinds: float
    covered: float
    open: float

    def trays(self, covered: bool) -> float:
        return self.covered if covered else self.open


Kinds: TypeAlias = Mapping[str, bool]
"""Kinds of place, each with whether it is under cover."""


@dataclass(frozen=True, slots=True)
class PlaceEmergence:
    """What the record says: the chance of each guess at the scatters, and given it, of each kind's logit."""

    nodes: tuple[Node, ...]
    node_chances: Floats
    kind_chances: Mapping[str, tuple[Floats, ...]]
    trays: Mapping[str, int]

    def next_tray(self, kind: str, covered: bool) -> Floats:
        """Chances of SHARE for a tray yet to be sown in a place of this kind."""
        total = np.zeros(SHARE.size)
        for node, chance, logit in zip(self.nodes, self.node_chances, self.kind_chances[kind], strict=True):
            total += chance * (logit @ scatter(node.trays(covered)))
        return total

    def kind_share(self, kind: str, level: float) -> tuple[float, float, float]:
        """Middle and interval of the share of a typical tray of a kind."""
        mixed = sum(
            (c * logit for c, logit in zip(self.node_chances, self.kind_chances[kind], strict=True)),
            np.zeros(SHARE.size),
        )
        low, high = interval_of(SHARE, mixed, level)
        return interval_of(SHARE, mixed, 0.0)[0], low, high


def place_emergence(record: Sequence[TrayRecord], kinds: Kinds) -> PlaceEmergence:
    """Learn from trays that came up to their end.

    Parameters
    ----------
    record : trays of other lots than the one asked about
    kinds : every kind of place to know of, also those without a tray

    Returns
    -------
    PlaceEmergence

    Notes
    -----
    up ~ Binomial(sown, g·e) with g as the tray's lot was known (its chances) and logit e ~ N(kind, trays²),
    kind ~ N(all, kinds²), all ~ N(2.2, 0.8²). The three scatters are summed over three values each of a
    half-normal distribution, those under cover apart from those in the open, so that it shows where trays
    come up more unevenly. One tray in twenty, and one kind in twenty, is like no other: any share is as
    likely, so that a tray that slugs ate does not speak for its place.

    References
    ----------
    Gelman et al. 2013, Bayesian Data Analysis, chapter 5 (hierarchical binomial model).
    """
    half_normal = special.ndtri(0.5 + (np.arange(NODES) + 0.5) / NODES / 2)
    nodes = tuple(
        Node(float(k), float(c), float(o))
        for k, c, o in product(
            KIND_SPREAD * half_normal, TRAY_SPREAD * half_normal, TRAY_SPREAD * half_normal
        )
    )
    everything = dict(kinds) | {tray.kind: tray.covered for tray in record}
    likelihoods = [(tray, tray_likelihood(tray.up, tray.sown, tray.germination)) for tray in record]
    told = {tau: _by_kind(likelihoods, tau) for tau in TRAY_SPREAD * half_normal}
    overall, none = _normal(LOGIT, ALL_MIDDLE, ALL_SPREAD), np.zeros(LOGIT.size)
    weights, by_node = [], []
    for node in nodes:
        logs = {kind: told[node.trays(under)].get(kind, none) for kind, under in everything.items()}
        seen = {kind: np.exp(log - log.max()) for kind, log in logs.items()}
        link = scatter(node.kinds)
        from_kind = {kind: link @ like for kind, like in seen.items()}
        whole = overall * np.prod(list(from_kind.values()), axis=0)
        weights.append(np.log(whole.sum()) + sum(log.max() for log in logs.values()))
        mine = {}
        for kind, like in seen.items():
            others = overall * np.prod([f for k, f in from_kind.items() if k != kind] + [none + 1], axis=0)
            chances = like * (others @ link)
            mine[kind] = chances / chances.sum()
        by_node.append(mine)
    weight = np.exp(np.array(weights) - max(weights))
    counted: dict[str, int] = {kind: sum(tray.kind == kind for tray in record) for kind in everything}
    return PlaceEmergence(
        nodes,
        weight / weight.sum(),
        {kind: tuple(mine[kind] for mine in by_node) for kind in everything},
        counted,
    )


def tray_likelihood(up: int, sown: int, germination: Floats) -> Floats:
    """Chance of the tray's count at each of SHARE, over its lot's chances of germination; 1 at its best."""
    at = np.exp(count_table(up, sown, GRID))
    like = germination @ at
    return np.asarray(like / like.max())


def count_table(up: int, sown: int, germination: Floats) -> Floats:
    """Logarithm of the chance of a count: germinations down, SHARE across; 0 at its best."""
    logs = log_binomial(up, sown, germination[:, None] * SHARE)
    return np.asarray(logs - logs.max())


@cache
def scatter(spread: float) -> Floats:
    """Chances of a tray's logit (columns) about that of its kind (rows); or of a kind's about all."""
    table = _normal(LOGIT[None, :], LOGIT[:, None], spread)
    table /= table.sum(axis=1, keepdims=True)
    return np.asarray((1 - ODD) * table + ODD * ANYTHING)


def _normal(at: Floats, middle: float | Floats, spread: float) -> Floats:
    return np.asarray(np.exp(-0.5 * ((at - middle) / spread) ** 2))


def _by_kind(likelihoods: Sequence[tuple[TrayRecord, Floats]], spread: float) -> dict[str, Floats]:
    """Logarithm of the likelihood of each kind's logit from its trays."""
    table = scatter(spread)
    found: dict[str, Floats] = {}
    for tray, like in likelihoods:
        of_tray = np.log(np.maximum(table @ like, 1e-300))
        found[tray.kind] = found.get(tray.kind, np.zeros(LOGIT.size)) + of_tray
    return found
