"""How often a batch is called finished too early, and how often never: invented trays, recorded dishes."""

import csv
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from tests.shared_data import shared_file
from traywarden.domain.batches import DAY_MS, RISING, Batch, NewlyUp
from traywarden.domain.journal import Entry, Kind

RUNS = 150
SEED = 23
WATCHED_D = 45
SHARES = (0.05, 0.2, 0.5, 0.85)


@dataclass(frozen=True)
class Tray:
    """Trays of 20 to 128 seeds of which 5 to 85 % come up, half of them after 4 to 14 days of usual weather.

    `spread`: standard deviation among seeds of ln(time). `weather`: that of ln(a day's progress), where a day
    is mostly like the one before it. Counted every `step_d` until the 45th.
    """

    spread: float
    step_d: float
    weather: float = 0.0


@dataclass(frozen=True)
class Endings:
    """Parts of the trays in which some came up: called finished with more than a twentieth, or a fifth, of
    the seedlings still to come; never called so. `wait_d`: from when all but a twentieth were seen to the
    call, the middle tray."""

    early: float
    far_too_early: float
    never: float
    wait_d: float


def tray(rng: np.random.Generator, case: Tray) -> Batch:
    sown = int(rng.choice([20, 40, 72, 128]))
    middle_d = rng.uniform(4.0, 14.0)
    log_rate = np.zeros(90)
    for day in range(1, 90):
        log_rate[day] = 0.8 * log_rate[day - 1] + 0.6 * rng.normal()
    progress = np.concatenate([[0.0], np.cumsum(np.exp(case.weather * log_rate))])
    needs = np.exp(rng.normal(np.log(middle_d), case.spread, rng.binomial(sown, rng.choice(SHARES))))
    up_d = np.interp(needs, progress, np.arange(91.0))
    return batch(sown, up_d, np.arange(2 + rng.random() * case.step_d, WATCHED_D, case.step_d).tolist())


def batch(sown: int, up_d: np.ndarray, visits_d: Sequence[float]) -> Batch:
    counts = tuple(
        NewlyUp(round(start * DAY_MS), round(end * DAY_MS), int(((start < up_d) & (up_d <= end)).sum()))
        for start, end in pairwise([0.0, *visits_d])
    )
    return Batch(Entry(1, 0, 0, Kind.SOWED), sown, counts)


def called_at(whole: Batch) -> int | None:
    """The first count after which it was called finished."""
    return next((k for k in range(len(whole.counts)) if whole.within(_day_d(whole, k)).complete), None)


def _day_d(whole: Batch, count: int) -> float:
    return whole.days(whole.counts[count].to_ms)


def endings(case: Tray, runs: int = RUNS, seed: int = SEED) -> Endings:
    rng = np.random.default_rng(seed)
    early = far = never = came = 0
    waits: list[float] = []
    for _ in range(runs):
        whole = tray(rng, case)
        if not whole.up:
            continue
        came += 1
        at = called_at(whole)
        if at is None:
            never += 1
            continue
        up = np.cumsum([count.newly_up for count in whole.counts])
        early += up[at] < (1 - RISING) * whole.up
        far += up[at] < 0.8 * whole.up
        waits.append(_day_d(whole, at) - _day_d(whole, int(np.argmax(up >= (1 - RISING) * whole.up))))
    return Endings(early / came, far / came, never / came, float(np.median(waits)))


def dishes() -> list[Batch]:
    """The recorded dishes in which any seed sprouted, ten seeds each, looked at every second or third day."""
    up: dict[str, dict[int, int]] = {}
    seeds: dict[str, int] = {}
    with shared_file("germination_thermogradient.csv").open(encoding="utf-8", newline="") as lines:
        for row in csv.DictReader(lines):
            dish = row["cell_x"] + row["cell_y"]
            up.setdefault(dish, {})[int(row["day"])] = int(row["c_germinated"])
            seeds[dish] = int(row["initial_n"])
    found = []
    for dish, by_day in up.items():
        days = sorted(by_day)
        counts = tuple(
            NewlyUp(a * DAY_MS, b * DAY_MS, max(0, by_day[b] - max(by_day[d] for d in days if d <= a)))
            for a, b in pairwise(days)
        )
        if any(count.newly_up for count in counts):
            found.append(Batch(Entry(1, 0, 0, Kind.SOWED), seeds[dish], counts))
    return found


def recorded() -> tuple[int, int, int, int]:
    """Dishes; those never called finished; sprouted in the others by the call, and in the end."""
    found = dishes()
    ends = [(whole, at) for whole in found if (at := called_at(whole)) is not None]
    by_then = sum(whole.within(_day_d(whole, at)).up for whole, at in ends)
    return len(found), len(found) - len(ends), by_then, sum(whole.up for whole, _ in ends)


CASES = {
    "even weather, daily": Tray(0.2, 1.0),
    "even weather, every third day": Tray(0.2, 3.0),
    "even weather, seeds as even as the evenest, daily": Tray(0.13, 1.0),
    "even weather, seeds as uneven as the unevenest, daily": Tray(0.3, 1.0),
    "uneven weather, daily": Tray(0.2, 1.0, 0.4),
    "uneven weather, every third day": Tray(0.2, 3.0, 0.4),
    "uneven weather and seeds, daily": Tray(0.3, 1.0, 0.4),
}


def lines() -> Iterator[str]:
    yield f"When {RUNS} invented trays of each kind were called come up to their end:"
    for k, (name, case) in enumerate(CASES.items()):
        found = endings(case, seed=SEED + k)
        yield (
            f"  {name}: with more than a twentieth still to come {found.early:.0%} (more than a fifth "
            f"{found.far_too_early:.0%}), never in {WATCHED_D} days {found.never:.0%}, else "
            f"{found.wait_d:.1f} days after all but a twentieth were seen"
        )
    count, never, by_then, end = recorded()
    yield (
        f"Recorded dishes of 10 seeds: of {count} in which any sprouted {count - never} were called so, when "
        f"{by_then} of the {end} that sprouted in them in the end had"
    )
