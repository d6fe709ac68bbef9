"""What part of the seeds of a lot will come up in a kind of place: lot and place put together."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from traywarden.domain.germination_metrics import Floats
from traywarden.domain.lot_germination import GRID, LotGermination, interval_of
from traywarden.domain.place_emergence import SHARE, PlaceEmergence, count_table, scatter
from traywarden.domain.seed_ageing import earlier_share

BINS = 400
LEVEL = 0.80


@dataclass(frozen=True, slots=True)
class OwnSowing:
    """A tray of this very lot that came up to its end, `years` ago, at a place of this kind."""

    up: int
    sown: int
    kind: str
    covered: bool
    years: float = 0.0


@dataclass(frozen=True, slots=True)
class Middle:
    """A mean with its 80 % interval, as parts of 1."""

    mean_share: float
    low_share: float
    high_share: float


@dataclass(frozen=True, slots=True)
class EmergenceForecast:
    """Chances of each part of the seeds (`values`, rising) that will come up in one tray yet to be sown."""

    values: Floats
    chances: Floats
    comes_up: Middle
    germination: Middle
    place: Middle

    def times(self, share: float) -> "EmergenceForecast":
        """The same where only that part of what would come up does."""
        up = self.comes_up
        comes_up = Middle(up.mean_share * share, up.low_share * share, up.high_share * share)
        return replace(self, values=self.values * share, comes_up=comes_up)


def emergence_forecast(
    lot: LotGermination, place: PlaceEmergence, kind: str, covered: bool, own: Sequence[OwnSowing] = ()
) -> EmergenceForecast:
    """Forecast one tray.

    Parameters
    ----------
    lot : what packet and tests say of the lot
    place : what trays of other lots say of places; it must know `kind` and the kinds in `own`
    kind, covered : of the place the tray will stand in
    own : this lot's own trays that came up to their end

    Returns
    -------
    EmergenceForecast of p = germination × share of the place

    Notes
    -----
    The lot's own trays say something of the lot and of the place at once: both are learnt together, so that
    one poor tray does not count against both. Trays of other lots in `place` must not be of this lot.

    Examples
    --------
    >>> from traywarden.domain.lot_germination import OwnTest, lot_germination
    >>> from traywarden.domain.place_emergence import place_emergence
    >>> from traywarden.domain.seed_ageing import Ageing
    >>> lot = lot_germination([OwnTest(90, 100)], Ageing(7.0, 0.5, ""))
    >>> found = emergence_forecast(lot, place_emergence([], {"frame": True}), "frame", True)
    >>> found.comes_up.mean_share < found.germination.mean_share
    True
    """
    by_spread: dict[float, Floats] = {}
    for row, speed in enumerate(lot.probit_years):
        tables = [
            np.exp(count_table(tray.up, tray.sown, earlier_share(GRID, tray.years, float(speed))))
            for tray in own
        ]
        told: dict[tuple[str, float], Floats] = {}
        for number, (node, chance) in enumerate(zip(place.nodes, place.node_chances, strict=True)):
            joint = lot.chances[row][:, None] * place.kind_chances[kind][number][None, :]
            for one, under in {tray.kind: tray.covered for tray in own}.items():
                at = (one, node.trays(under))
                if at not in told:
                    told[at] = _of_kind(
                        [t for tray, t in zip(own, tables, strict=True) if tray.kind == one], at[1]
                    )
                if one == kind:
                    joint = joint * told[at]
                else:
                    joint = joint * (told[at] @ place.kind_chances[one][number])[:, None]
            spread = node.trays(covered)
            by_spread[spread] = by_spread.get(spread, 0.0) + chance * joint
    together = np.asarray(sum(joint @ scatter(spread) for spread, joint in by_spread.items()))
    together /= together.sum()
    values, chances = _binned(GRID[:, None] * SHARE[None, :], together)
    return EmergenceForecast(
        values,
        chances,
        _middle(values, chances),
        _middle(GRID, together.sum(axis=1)),
        _middle(SHARE, together.sum(axis=0)),
    )


def _of_kind(tables: Sequence[Floats], spread: float) -> Floats:
    """Likelihood of germination (down) and of the kind's logit (across) from all own trays of one kind."""
    table = scatter(spread).T
    return np.asarray(np.prod([each @ table for each in tables], axis=0))


def _binned(values: Floats, chances: Floats) -> tuple[Floats, Floats]:
    """Many values with their chances as few, each the mean of its bin."""
    which = np.minimum((values * BINS).astype(np.int64), BINS - 1).ravel()
    total = np.bincount(which, weights=chances.ravel(), minlength=BINS)
    summed = np.bincount(which, weights=(values * chances).ravel(), minlength=BINS)
    kept = total > 1e-12
    return summed[kept] / total[kept], total[kept] / total[kept].sum()


def _middle(values: Floats, chances: Floats) -> Middle:
    low, high = interval_of(values, chances, LEVEL)
    return Middle(float(values @ chances), low, high)
