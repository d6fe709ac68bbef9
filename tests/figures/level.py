"""How often simulated trays are judged rightly: heads off by as much as real ones, tilt known."""

from collections.abc import Iterator

import numpy as np

from traywarden.domain.level import BothPlateaus, Level, Side, Verdict, level_of

NORTH, SOUTH = Side("p/1", "north"), Side("p/2", "south")
HEADS_APART_PCT, HAND_PCT, NOISE_PCT = 6.0, 3.0, 1.5
"""How far two heads are apart for no reason of the tray, how unevenly a hand waters, and sensor noise."""


def tray(rng: np.random.Generator, tilt_pct: float, below: int, above: int, *, same_scale: bool) -> Level:
    """The north stands high: it settles lower after watering from below by `tilt_pct`."""
    offset = rng.normal(0, HEADS_APART_PCT)
    rows = [
        BothPlateaus(
            float(n),
            n < below,
            100 + offset + rng.normal(0, NOISE_PCT) - (tilt_pct if n < below else rng.normal(0, HAND_PCT)),
            100 + rng.normal(0, NOISE_PCT),
        )
        for n in range(below + above)
    ]
    return level_of(NORTH, SOUTH, rows, same_scale=same_scale)


def many(
    tilt_pct: float, below: int, above: int, *, same_scale: bool = False, runs: int = 300
) -> list[Level]:
    rng = np.random.default_rng(17)
    return [tray(rng, tilt_pct, below, above, same_scale=same_scale) for _ in range(runs)]


def share(found: list[Level], verdict: Verdict) -> float:
    return sum(each.verdict is verdict for each in found) / len(found)


CASES = ((6, 0, True), (6, 1, False), (8, 3, False), (15, 6, False))


def lines() -> Iterator[str]:
    yield (
        f"300 simulated trays each: heads {HEADS_APART_PCT:g} % of container capacity apart, hand uneven by "
        f"{HAND_PCT:g} %, noise {NOISE_PCT:g} %"
    )
    for below, above, same_scale in CASES:
        how = "calibrated heads" if same_scale else f"{above} from above"
        words = []
        for tilt_pct in (0.0, 5.0, 10.0, 15.0):
            found = many(tilt_pct, below, above, same_scale=same_scale)
            words.append(f"{tilt_pct:g} %: {share(found, Verdict.OUT_OF_LEVEL) * 100:.0f} %")
        yield f"  {below} waterings from below, {how}; called out of level at a tilt of {', '.join(words)}"
    found = many(10.0, 8, 3)
    right = sum(each.drier is NORTH for each in found if each.drier) / sum(bool(each.drier) for each in found)
    yield f"  the high end was named rightly in {right * 100:.0f} % of those called out of level (tilt 10 %)"
