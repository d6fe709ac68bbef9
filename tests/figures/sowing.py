"""How well the seeds to sow are forecast: on recorded dishes left out one by one, and on invented gardens."""

import csv
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache

import numpy as np
from scipy import special, stats

from tests.shared_data import shared_file
from traywarden.domain.cell_fill import CLUSTERING
from traywarden.domain.emergence_forecast import EmergenceForecast, Middle, OwnSowing, emergence_forecast
from traywarden.domain.lot_germination import OnPacket, OwnTest, lot_germination
from traywarden.domain.place_emergence import TrayRecord, place_emergence
from traywarden.domain.seed_ageing import Ageing
from traywarden.domain.sowing_plan import Wanted, sowing_plan

AGEING = Ageing(7.0, 0.8, "")
GARDENS = 150
SEED = 7
DISH = 10
KINDS = {"cold frame": True, "open bench": False}


@dataclass(frozen=True)
class Held:
    """Parts of the forecasts whose 80 % interval held what came; and where its ends were tossed for."""

    forecasts: int
    held: float
    by_chance: float
    mean_error: float
    naive_error: float


@cache
def dishes() -> tuple[OwnSowing, ...]:
    """The 36 recorded dishes of ten seeds, those of about the same day temperature as one kind of place."""
    final: dict[str, tuple[int, float]] = {}
    with shared_file("germination_thermogradient.csv").open(encoding="utf-8", newline="") as lines:
        for row in csv.DictReader(lines):
            name = row["cell_x"] + row["cell_y"]
            up = max(int(row["c_germinated"]), final.get(name, (0, 0.0))[0])
            final[name] = (up, float(row["day_temp"]))
    return tuple(OwnSowing(up, DISH, f"{round(day_c / 5.5)}", False) for up, day_c in final.values())


def count_chances(forecast: EmergenceForecast, sown: int) -> np.ndarray:
    """Chances of 0 … sown seedlings in the tray forecast."""
    k = np.arange(sown + 1)
    return np.asarray(forecast.chances @ stats.binom.pmf(k[None, :], sown, forecast.values[:, None]))


@cache
def left_out() -> Held:
    """Each dish forecast from the 35 others, of which it is of one lot that nothing else is known of."""
    record = dishes()
    lot = lot_germination([], AGEING)
    nowhere = place_emergence([], {dish.kind: False for dish in record})
    held, by_chance, errors, naive = [], [], [], []
    rng = np.random.default_rng(SEED)
    for k, dish in enumerate(record):
        others = record[:k] + record[k + 1 :]
        chances = count_chances(emergence_forecast(lot, nowhere, dish.kind, False, others), dish.sown)
        inside, coin = _holds(chances, dish.up, rng)
        held.append(inside)
        by_chance.append(coin)
        errors.append(abs(float(chances @ np.arange(dish.sown + 1)) - dish.up))
        everything = np.mean([other.up / other.sown for other in others])
        naive.append(abs(everything * dish.sown - dish.up))
    return Held(len(record), *(float(np.mean(x)) for x in (held, by_chance, errors, naive)))


def _holds(chances: np.ndarray, up: int, rng: np.random.Generator) -> tuple[bool, bool]:
    """Whether the 80 % interval of a count holds it; and whether it does where its ends are tossed for."""
    upto = np.cumsum(chances)
    low, high = np.searchsorted(upto, [0.1 - 1e-9, 0.9 - 1e-9])
    below = upto[up] - chances[up]
    toss = below + rng.random() * chances[up]
    return bool(low <= up <= high), bool(0.1 <= toss <= 0.9)


@dataclass(frozen=True)
class Invented:
    """A garden's truth: the middle logit of each kind of place, and how far trays scatter, covered or not."""

    middle: dict[str, float]
    spread: dict[bool, float]

    def tray(self, rng: np.random.Generator, kind: str, germination: float) -> int:
        share = special.expit(rng.normal(self.middle[kind], self.spread[KINDS[kind]]))
        return int(rng.binomial(72, germination * share))


def invented(rng: np.random.Generator) -> Invented:
    overall = rng.normal(2.2, 0.8)
    return Invented(
        {kind: rng.normal(overall, abs(rng.normal(0, 0.5))) for kind in KINDS},
        {under: abs(rng.normal(0, 0.6)) for under in (True, False)},
    )


def gardens(runs: int = GARDENS, seed: int = SEED) -> Held:
    """Invented gardens of the model's own making: lots, places and trays drawn, a further tray forecast."""
    rng = np.random.default_rng(seed)
    held, by_chance, errors, naive = [], [], [], []
    for _ in range(runs):
        garden = invented(rng)
        record = []
        for _ in range(rng.integers(0, 9)):
            told = rng.uniform(0.6, 0.95)
            kind = str(rng.choice(list(KINDS)))
            lot = lot_germination([OnPacket(told, 200.0)], AGEING)
            record.append(
                TrayRecord(
                    garden.tray(rng, kind, _truth(rng, told)), 72, kind, KINDS[kind], lot.chances.sum(axis=0)
                )
            )
        told = rng.uniform(0.6, 0.95)
        truth = _truth(rng, told)
        tested = OwnTest(int(rng.binomial(25, truth)), 25)
        lot = lot_germination([OnPacket(told, 200.0), tested], AGEING)
        own = [
            OwnSowing(garden.tray(rng, "open bench", truth), 72, "open bench", False)
            for _ in range(rng.integers(0, 3))
        ]
        kind = str(rng.choice(list(KINDS)))
        forecast = emergence_forecast(lot, place_emergence(record, KINDS), kind, KINDS[kind], own)
        chances, up = count_chances(forecast, 72), garden.tray(rng, kind, truth)
        inside, coin = _holds(chances, up, rng)
        held.append(inside)
        by_chance.append(coin)
        errors.append(abs(float(chances @ np.arange(73)) - up))
        naive.append(abs(told * 72 - up))
    return Held(runs, *(float(np.mean(x)) for x in (held, by_chance, errors, naive)))


def _truth(rng: np.random.Generator, told: float) -> float:
    """What a lot germinates whose packet says so much: as exact as the packet, or hardly at all."""
    worth = 200.0 if rng.random() < 0.8 else 5.0
    return float(np.clip(rng.beta(told * worth, (1 - told) * worth), 0.001, 0.999))


def filled_cells(runs: int = GARDENS, seed: int = SEED) -> Held:
    """Cells filled in invented trays whose part and clustering are known, forecast by the plan."""
    rng = np.random.default_rng(seed)
    held, errors, naive = [], [], []
    everything = Wanted(72, fill_share=1 - 1e-9, gain_share=-1.0)
    for _ in range(runs):
        p, rho, per_cell = (
            rng.uniform(0.4, 0.95),
            float(rng.choice(CLUSTERING[1:12])),
            int(rng.integers(1, 4)),
        )
        shares = rng.beta(p * (1 - rho) / rho, (1 - p) * (1 - rho) / rho, 72)
        filled = int((rng.binomial(per_cell, shares) > 0).sum())
        known = EmergenceForecast(np.array([p]), np.ones(1), *[Middle(p, p, p)] * 3)
        row = sowing_plan(known, np.isclose(CLUSTERING, rho).astype(float), everything).rows
        mine = row[per_cell - 1]
        held.append(mine.filled_low <= filled <= mine.filled_high)
        errors.append(abs(mine.filled - filled))
        naive.append(abs(72 * (1 - (1 - p) ** per_cell) - filled))
    return Held(runs, float(np.mean(held)), float("nan"), float(np.mean(errors)), float(np.mean(naive)))


def lines() -> Iterator[str]:
    found = left_out()
    yield (
        f"Recorded dishes of ten seeds, each forecast from the others: 80 % intervals held {found.held:.0%} "
        f"of {found.forecasts} ({found.by_chance:.0%} with ends tossed for); off by {found.mean_error:.2f} "
        f"seedlings on average, by the mean of all dishes {found.naive_error:.2f}"
    )
    found = gardens()
    yield (
        f"Invented gardens, a further tray of 72 seeds: 80 % intervals held {found.held:.0%} of "
        f"{found.forecasts} ({found.by_chance:.0%} with ends tossed for); off by {found.mean_error:.1f}, "
        f"by the packet alone {found.naive_error:.1f}"
    )
    found = filled_cells()
    yield (
        f"Invented trays of 72 cells: 80 % intervals of the cells filled held {found.held:.0%} of "
        f"{found.forecasts}; off by {found.mean_error:.1f} cells, without clustering {found.naive_error:.1f}"
    )
