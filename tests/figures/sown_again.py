"""What a first sowing teaches about the second: simulated gardens, as believed and far from it.

Simulation from the model's own assumptions about lots, sowings and seeds: it proves that what was counted is
put to use, not that real sowings repeat themselves so well.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache

import numpy as np

from traywarden.domain.development import curve_for
from traywarden.domain.factors import LOT_LOG_SD, SOWING_LOG_SD, Told, expected, learn
from traywarden.domain.looks import SEED_LOG_SD, SPREAD_WEIGHTS, SPREADS, Look, Seeds, log_likelihood
from traywarden.store.crops import load_crops

SEED = 2027
GARDENS = 300
SEEDS = Seeds(72, 0.8)
LOOKED_EVERY = 0.2
"""Part of the table's days between two counts: every second day where the table says ten."""
CUCUMBER = 8.43 / 4.0
"""Cucumber at 25 °C: days by Taylor 1997 against those of the table (`python -m tests.figures emergence`)."""


@dataclass(frozen=True, slots=True)
class Again:
    """A sowing after so many others of its crop: the median miss of the days to half emergence, and how often
    the 80 % band of its factor held the true one."""

    after: int
    same_lot: bool
    miss: float
    held: float


@cache
def sown_again(crop: str = "tomato", factor: float | None = None) -> list[Again]:
    """`factor`: how many times the table's days the crop truly takes; None: drawn from the table's error."""
    prior_log_sd = curve_for(load_crops()[crop]).log_sd
    found = []
    for after, same_lot in ((0, False), (1, True), (1, False), (2, True), (4, True)):
        random = np.random.default_rng(SEED)
        misses, held = [], []
        for _ in range(GARDENS):
            of_crop = random.normal(0, prior_log_sd) if factor is None else np.log(factor)
            lots = of_crop + random.normal(0, LOT_LOG_SD, 2)
            truths = lots[0] + random.normal(0, SOWING_LOG_SD, after)
            told = [Told(n, 1, _seen(float(truth), random)) for n, truth in enumerate(truths)]
            truth = lots[0 if same_lot else 1] + random.normal(0, SOWING_LOG_SD)
            belief = expected(learn(prior_log_sd, told), 99, 1 if same_lot else 2)
            low, middle, high = belief.quantiles()
            misses.append(abs(np.log(middle) - truth))
            held.append(low <= np.exp(truth) <= high)
        miss = float(np.expm1(np.median(misses)))
        found.append(Again(after, same_lot, miss, float(np.mean(held))))
    return found


def _seen(truth: float, random: np.random.Generator) -> np.ndarray:
    """What the counts of one sowing tell."""
    spread = SEED_LOG_SD * random.choice(SPREADS, p=SPREAD_WEIGHTS)
    up = np.exp(truth + spread * random.standard_normal(random.binomial(SEEDS.count, SEEDS.germination)))
    at = np.arange(LOOKED_EVERY, 2 * np.exp(truth), LOOKED_EVERY)
    return log_likelihood([Look(float(p), int((up <= p).sum())) for p in at], SEEDS)


def lines() -> Iterator[str]:
    yield f"A sowing after others, simulated: {GARDENS} gardens, 72 seeds counted every fifth of the days"
    for name, found in (
        ("tomato, as far from its table as believed", sown_again()),
        ("cucumber, 2.1 times its table", sown_again("cucumber", CUCUMBER)),
    ):
        for each in found:
            lot = "" if not each.after else ", same lot" if each.same_lot else ", another lot"
            yield (
                f"  {name}, after {each.after}{lot}: median miss {each.miss * 100:.0f} %, the 80 % band held "
                f"{each.held * 100:.0f} %"
            )
