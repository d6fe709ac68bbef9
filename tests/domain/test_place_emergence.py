"""What places do: against plain drawing from the same model, and as a grower would expect."""

import numpy as np
import pytest
from scipy import special

from traywarden.domain.emergence_forecast import OwnSowing, emergence_forecast
from traywarden.domain.lot_germination import GRID, OnPacket, OwnTest, lot_germination
from traywarden.domain.place_emergence import (
    ALL_MIDDLE,
    ALL_SPREAD,
    KIND_SPREAD,
    LOGIT,
    NODES,
    ODD,
    SHARE,
    TRAY_SPREAD,
    TrayRecord,
    place_emergence,
    scatter,
)
from traywarden.domain.seed_ageing import Ageing

AGEING = Ageing(7.0, 0.5, "")
SURE = np.zeros(GRID.size)
SURE[np.searchsorted(GRID, 0.9)] = 1.0
GERMINATION = float(GRID[np.searchsorted(GRID, 0.9)])
KINDS = {"cold frame": True, "open bench": False}


def trays(kind: str, *ups: int, sown: int = 72) -> list[TrayRecord]:
    return [TrayRecord(up, sown, kind, KINDS[kind], SURE) for up in ups]


def drawn_places(rng: np.random.Generator, n: int) -> tuple[dict[str, np.ndarray], dict[bool, np.ndarray]]:
    half = special.ndtri(0.5 + (np.arange(NODES) + 0.5) / NODES / 2)
    overall = rng.normal(ALL_MIDDLE, ALL_SPREAD, n)
    kinds = rng.choice(KIND_SPREAD * half, n)
    middle = {kind: odd(rng, rng.normal(overall, kinds)) for kind in KINDS}
    return middle, {under: rng.choice(TRAY_SPREAD * half, n) for under in (True, False)}


def odd(rng: np.random.Generator, logit: np.ndarray) -> np.ndarray:
    anything = special.logit(np.clip(rng.random(logit.size), SHARE[0], SHARE[-1]))
    return np.where(rng.random(logit.size) < ODD, anything, logit)


def test_two_kinds_with_a_tray_each_by_drawing() -> None:
    """Draw places and trays; keep the draws with just these counts; look at the next tray on the bench."""
    rng = np.random.default_rng(2)
    n = 3_000_000
    middle, spread = drawn_places(rng, n)
    counts = {}
    for kind, sown in (("cold frame", 10), ("open bench", 10)):
        share = special.expit(odd(rng, rng.normal(middle[kind], spread[KINDS[kind]])))
        counts[kind] = rng.binomial(sown, GERMINATION * share)
    kept = (counts["cold frame"] == 9) & (counts["open bench"] == 5)
    upcoming = special.expit(odd(rng, rng.normal(middle["open bench"], spread[False])))[kept]
    record = [*trays("cold frame", 9, sown=10), *trays("open bench", 5, sown=10)]
    found = place_emergence(record, KINDS)
    ours = found.next_tray("open bench", False)
    assert kept.sum() > 10_000
    assert float(ours @ SHARE) == pytest.approx(upcoming.mean(), abs=0.006)
    ends = np.interp([0.1, 0.9], np.cumsum(ours), SHARE)
    assert ends == pytest.approx(np.quantile(upcoming, [0.1, 0.9]), abs=0.02)


def test_a_lots_own_tray_teaches_of_lot_and_place_at_once_by_drawing() -> None:
    rng = np.random.default_rng(4)
    n = 3_000_000
    middle, spread = drawn_places(rng, n)
    germination = rng.choice(GRID, n, p=lot_germination([OwnTest(8, 10)], AGEING).chances.sum(axis=0))
    share = special.expit(odd(rng, rng.normal(middle["open bench"], spread[False])))
    kept = rng.binomial(12, germination * share) == 4
    upcoming = special.expit(odd(rng, rng.normal(middle["open bench"], spread[False])))
    comes_up = (germination * upcoming)[kept]
    found = emergence_forecast(
        lot_germination([OwnTest(8, 10)], AGEING),
        place_emergence([], KINDS),
        "open bench",
        False,
        [OwnSowing(4, 12, "open bench", False)],
    )
    assert kept.sum() > 10_000
    assert found.comes_up.mean_share == pytest.approx(comes_up.mean(), abs=0.006)
    assert (found.comes_up.low_share, found.comes_up.high_share) == pytest.approx(
        np.quantile(comes_up, [0.1, 0.9]), abs=0.015
    )
    assert found.germination.mean_share == pytest.approx(germination[kept].mean(), abs=0.006)


def test_a_kind_without_trays_leans_on_the_others() -> None:
    poor = place_emergence(trays("open bench", 20, 24, 22, 18), KINDS)
    good = place_emergence(trays("open bench", 64, 65, 63, 64), KINDS)
    nothing = place_emergence([], KINDS)
    assert poor.kind_share("cold frame", 0.8)[0] < nothing.kind_share("cold frame", 0.8)[0]
    assert good.kind_share("cold frame", 0.8)[0] > nothing.kind_share("cold frame", 0.8)[0]


def test_more_trays_make_it_surer_and_uneven_ones_less_sure() -> None:
    def width(*ups: int) -> float:
        _, low, high = place_emergence(trays("open bench", *ups), KINDS).kind_share("open bench", 0.8)
        return high - low

    assert width(50, 52, 51, 49, 50, 51) < width(50, 51) < width()
    assert width(30, 62, 50, 40, 60, 58) > width(50, 52, 51, 49, 50, 51)


def test_one_tray_that_slugs_ate_hardly_moves_its_place() -> None:
    even = place_emergence(trays("open bench", 58, 57, 59, 58, 57), KINDS)
    eaten = place_emergence(trays("open bench", 58, 57, 59, 58, 57, 2), KINDS)
    assert eaten.kind_share("open bench", 0.8)[0] == pytest.approx(
        even.kind_share("open bench", 0.8)[0], abs=0.04
    )


def test_trays_under_cover_may_be_evener_than_those_in_the_open() -> None:
    record = [*trays("cold frame", 58, 57, 58, 59, 58), *trays("open bench", 30, 62, 45, 20, 60)]
    found = place_emergence(record, KINDS)
    covered, uncovered = (
        float(found.node_chances @ [node.trays(under) for node in found.nodes]) for under in (True, False)
    )
    assert uncovered > 1.3 * covered


def test_scattered_chances_add_up() -> None:
    assert scatter(0.4).sum(axis=1) == pytest.approx(np.ones(LOGIT.size))


def test_a_poor_tray_does_not_count_against_lot_and_place_both() -> None:
    """What comes up next is expected near what came up, not at the product of two losses."""
    lot = lot_germination([OnPacket(0.9, 200.0)], AGEING)
    own = [OwnSowing(36, 72, "open bench", False)] * 3
    found = emergence_forecast(lot, place_emergence([], KINDS), "open bench", False, own)
    assert found.comes_up.mean_share == pytest.approx(0.5, abs=0.05)
    assert found.germination.mean_share < 0.9
    elsewhere = emergence_forecast(lot, place_emergence([], KINDS), "cold frame", True, own)
    assert found.comes_up.mean_share < elsewhere.comes_up.mean_share < 0.8
