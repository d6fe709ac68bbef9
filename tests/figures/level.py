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


def lives(tilt_pct: float, out: int, above: int, even: int, *, runs: int = 100) -> list[str]:
    """After each watering: Y out of level, N level or put level, - cannot be told. `out` waterings from below
    at a tilt, and if they show it so much, `even` more after it was put level, of which nobody wrote.
    """
    rng = np.random.default_rng(3)
    found = []
    for _ in range(runs):
        offset = 100 + rng.normal(0, HEADS_APART_PCT)
        rows = [
            BothPlateaus(float(n), False, _settled(rng, offset + rng.normal(0, HAND_PCT)), _settled(rng, 100))
            for n in range(above)
        ]
        for n in range(out + even):
            tilted = offset - (tilt_pct if n < out else 0.0)
            rows.append(BothPlateaus(50.0 + n, True, _settled(rng, tilted), _settled(rng, 100)))
        first = above + (out if even else 6)
        said = "".join(_said(rows[:n]) for n in range(first, len(rows) + 1))
        if not even or said.startswith("Y"):
            found.append(said)
    return found


def _settled(rng: np.random.Generator, around: float) -> float:
    return around + float(rng.normal(0, NOISE_PCT))


def _said(rows: list[BothPlateaus]) -> str:
    found = level_of(NORTH, SOUTH, rows, same_scale=False)
    if found.verdict is Verdict.OUT_OF_LEVEL:
        return "Y"
    return "N" if found.verdict is Verdict.LEVEL or found.before else "-"


def ended_by(said: list[str], waterings: int) -> float:
    """Share that counts as level by so many waterings after it was put so."""
    return sum("N" in each[: waterings + 1] for each in said) / len(said)


def again(said: list[str]) -> float:
    """Share that counts as out of level once more after it counted as level."""
    return sum("Y" in each[each.find("N") :] for each in said if "N" in each) / len(said)


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
    for tilt_pct in (5.0, 10.0, 15.0):
        ended, stays = lives(tilt_pct, 10, 4, 8), lives(tilt_pct, 24, 4, 0)
        wrong = sum("N" in each[each.find("Y") :] for each in stays if "Y" in each)
        yield (
            f"  put level after 10 at {tilt_pct:g} %, 4 from above: over by the 3rd watering in "
            f"{ended_by(ended, 3) * 100:.0f} %, by the 5th in {ended_by(ended, 5) * 100:.0f} %, out of level "
            f"again by the 8th in {again(ended) * 100:.0f} %; left so for 24, over in {wrong} of {len(stays)}"
        )
    yield f"  the high end was named rightly in {right * 100:.0f} % of those called out of level (tilt 10 %)"
