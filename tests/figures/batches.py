"""How often the comparison of two batches is right, on invented seedlings; what it says of recorded ones."""

import csv
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from tests.shared_data import shared_file
from traywarden.domain.batch_comparison import Basis, BatchComparison, Verdict, compare_batches
from traywarden.domain.batch_words import comparison_sentences
from traywarden.domain.batches import DAY_MS, Batch, NewlyUp
from traywarden.domain.journal import Entry, Kind

CALLED = (Verdict.A, Verdict.B)
RUNS = 150
SOWN = 72
SPREAD = 0.2  # standard deviation of the logarithm of the time to come up
SEED = 11


@dataclass(frozen=True)
class Invented:
    """Two trays of seeds; visits every so many days, from days of their own where `apart`. `seldom`: each is
    counted one to three times only, on any days from the 5th to the 16th, and no more."""

    step_d: float
    later_d: float = 0.0
    germination_a: float = 0.8
    germination_b: float = 0.8
    apart: bool = False
    other_step_d: float | None = None
    sown: int = SOWN
    seldom: bool = False


@dataclass(frozen=True)
class Rates:
    """Parts of the runs. `told`: a word was said on numbers, be it that chance may do it; intervals are of
    those at one age or at the end of both, and of times that were counted alike."""

    told: float
    numbers: float
    times: float
    held: float
    numbers_held: float
    right: float


def batch(
    rng: np.random.Generator, germination: float, middle_d: float, visits_d: Sequence[float], sown: int
) -> Batch:
    up_d = np.exp(rng.normal(np.log(middle_d), SPREAD, rng.binomial(sown, germination)))
    ends_d = [0.0, *visits_d]
    new = [int(((start < up_d) & (up_d <= end)).sum()) for start, end in pairwise(ends_d)]
    counts = [
        NewlyUp(round(start * DAY_MS), round(end * DAY_MS), n)
        for (start, end), n in zip(pairwise(ends_d), new, strict=True)
    ]
    return Batch(Entry(1, 0, 0, Kind.SOWED), sown, tuple(counts))


def one(rng: np.random.Generator, case: Invented) -> BatchComparison:
    middle_d = rng.uniform(7.0, 12.0)
    first_d = 2 + rng.random() * case.step_d
    second_d = 2 + rng.random() * case.step_d if case.apart else first_d
    if case.seldom:
        middle_d = rng.uniform(6.0, 10.0)
        days = [sorted(rng.uniform(5, 16, rng.integers(1, 4)).tolist()) for _ in range(2)]
        a = batch(rng, case.germination_a, middle_d, days[0], case.sown)
        b = batch(rng, case.germination_b, middle_d + case.later_d, days[1], case.sown)
        return compare_batches(a, b)
    a = batch(rng, case.germination_a, middle_d, np.arange(first_d, 45, case.step_d).tolist(), case.sown)
    visits_d = np.arange(second_d, 45, case.other_step_d or case.step_d).tolist()
    b = batch(rng, case.germination_b, middle_d + case.later_d, visits_d, case.sown)
    return compare_batches(a, b)


def rates(case: Invented, runs: int = RUNS, seed: int = SEED) -> Rates:
    """Parts of the runs in which a difference of numbers or of times was called, and the truth was held."""
    rng = np.random.default_rng(seed)
    found = [one(rng, case) for _ in range(runs)]
    timing = [f.timing for f in found]
    numbers = [f.numbers for f in found if f.numbers is not None and not f.numbers.reason]
    truth = case.germination_a - case.germination_b
    days = [(t.low_d, t.high_d) for t in timing if t.low_d is not None and t.high_d is not None]
    shares = [n.difference for n in numbers if n.basis is not Basis.BOUNDS]
    return Rates(
        len(numbers) / runs,
        sum(n.verdict in CALLED for n in numbers) / runs,
        sum(t.verdict in CALLED for t in timing) / runs,
        float(np.mean([low <= case.later_d <= high for low, high in days])),
        float(np.mean([share.low <= truth <= share.high for share in shares])),
        sum(t.verdict is Verdict.A for t in timing) / runs,
    )


def recorded(day_c: float) -> Batch:
    """The recorded dishes whose days were within 1 °C of that, as one batch."""
    up: dict[int, int] = {}
    seeds: dict[str, int] = {}
    with shared_file("germination_thermogradient.csv").open(encoding="utf-8", newline="") as lines:
        for row in csv.DictReader(lines):
            if abs(float(row["day_temp"]) - day_c) <= 1.0:
                up[int(row["day"])] = up.get(int(row["day"]), 0) + int(row["c_germinated"])
                seeds[row["cell_x"] + row["cell_y"]] = int(row["initial_n"])
    counts, highest = [], 0
    for before, day in pairwise(sorted(up)):
        counts.append(NewlyUp(before * DAY_MS, day * DAY_MS, max(0, up[day] - highest)))
        highest = max(highest, up[day])
    return Batch(Entry(1, 0, 0, Kind.SOWED), sum(seeds.values()), tuple(counts))


CASES = {
    "alike, counted daily": Invented(1.0),
    "alike, every third day, on days of their own": Invented(3.0, apart=True),
    "alike, one daily, the other every fourth day": Invented(1.0, apart=True, other_step_d=4.0),
    "2 days later, every second day": Invented(2.0, later_d=2.0),
    "2 days later and 60 % for 80 %, every third day": Invented(3.0, later_d=2.0, germination_b=0.6),
    "alike, counted one to three times on days of their own": Invented(1.0, seldom=True),
}


def lines() -> Iterator[str]:
    for warm_c, cool_c in ((25.0, 20.0), (30.0, 25.0)):
        yield f"Recorded dishes, days at {warm_c:g} °C against {cool_c:g} °C:"
        found = compare_batches(recorded(warm_c), recorded(cool_c))
        for sentence in comparison_sentences(found, f"{warm_c:g} °C", f"{cool_c:g} °C"):
            yield f"  {sentence}"
    yield f"Two batches of {SOWN} seeds, {RUNS} times each, times spread by a factor of e^{SPREAD:g}:"
    for k, (name, case) in enumerate(CASES.items()):
        rate = rates(case, seed=SEED + k)
        yield (
            f"  {name}: numbers told {rate.told:.0%}, "
            f"called different {rate.numbers:.0%}, times {rate.times:.0%}; "
            f"the 95 % intervals held the truth in {rate.numbers_held:.0%} and {rate.held:.0%}"
        )
