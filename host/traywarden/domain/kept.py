"""What was worked out before from the very same readings: a memory that can only save time.

A result is kept under a digest of all that it hangs on: the readings as computed with (calibrated and
flagged), the parameters, and the version of the rules. A late reading, a corrected journal entry or a new
rule gives another digest, and what was kept under the old one is not found any more.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from hashlib import blake2b
from typing import Any, Protocol, TypeVar

import numpy as np
from numpy.typing import NDArray

from traywarden.domain.dry_down import RULES as DRY_DOWN_RULES
from traywarden.domain.dry_down import DryDown, DryDownParams, fit_dry_down
from traywarden.domain.waterings import SETTLED_S, see_wettings
from traywarden.domain.wetting import DEFAULT_PARAMS, RULES, Seen

Floats = NDArray[np.float64]

BLOCK_S = 8 * 86_400.0
"""Wettings are kept in blocks of so many days, counted from 1970; late data spoils blocks from its own on."""
DIGEST_BYTES = 16


T = TypeVar("T")


class Kept(Protocol):
    """A memory of results, by digest; whatever it has forgotten is worked out again.

    `get` gives what was kept as of a kind. `expect` says which results will be asked for next, so that they
    can be fetched at once; `needed` says of others that they may be asked for some other time.
    """

    def expect(self, keys: Sequence[bytes]) -> None: ...

    def get(self, key: bytes, kind: type[T]) -> T | None: ...

    def put(self, key: bytes, value: object) -> None: ...

    def needed(self, keys: Iterable[bytes]) -> None: ...


@dataclass(frozen=True, slots=True)
class SeenWettings:
    """Wettings as they are kept."""

    seen: tuple[Seen, ...]


def kept_wettings(time_s: Floats, moisture_m3_m3: Floats, soil_temp_c: Floats, kept: Kept) -> list[Seen]:
    """`see_wettings` of a whole record, unless it is kept; else from the block on that is not.

    Parameters
    ----------
    time_s : array, shape (n,) [s] since 1970, ascending
    moisture_m3_m3 : array, shape (n,) [m³/m³]; NaN where missing
    soil_temp_c : array, shape (n,) [°C]; NaN where missing
    kept : what is kept; what is worked out now is added to it

    Returns
    -------
    list of Seen, oldest first
    """
    blocks, whole = _blocks(time_s, moisture_m3_m3, soil_temp_c)
    kept.expect([whole, *(key for _, key in blocks)])
    everything = kept.get(whole, SeenWettings)
    if everything is not None:
        kept.needed(key for _, key in blocks)
        return list(everything.seen)
    seen: list[Seen] = []
    known = 0
    for _, key in blocks:
        mine = kept.get(key, SeenWettings)
        if mine is None:
            break
        seen += mine.seen
        known += 1
    found = see_wettings(time_s, moisture_m3_m3, soil_temp_c, seen=seen)
    after_s = blocks[known - 1][0] - SETTLED_S if known else -np.inf
    for end_s, key in blocks[known:]:
        settled = tuple(s for s in found if after_s < s.settled_s <= end_s - SETTLED_S)
        kept.put(key, SeenWettings(settled))
        after_s = end_s - SETTLED_S
    kept.put(whole, SeenWettings(tuple(found)))
    return found


def _blocks(*columns: Floats) -> tuple[list[tuple[float, bytes]], bytes]:
    """The end [s] of each whole block that has readings, and the digest of all readings before it.

    And the digest of all readings. A block without readings would have the digest of the one before it.
    """
    times, _, temps = columns
    ever_temps = bool(np.isfinite(temps).any())
    digest = blake2b(
        f"wettings by blocks with readings {RULES} {ever_temps} {DEFAULT_PARAMS}".encode(),
        digest_size=DIGEST_BYTES,
    )
    found, begin = [], 0
    first, last = (int(times[0] // BLOCK_S) + 1, int(times[-1] // BLOCK_S)) if times.size else (1, 0)
    ends_s = np.arange(first, last + 1) * BLOCK_S
    for end_s, end in zip(ends_s.tolist(), np.searchsorted(times, ends_s).tolist(), strict=True):
        if end == begin:
            continue
        for column in columns:
            digest.update(column[begin:end].tobytes())
        found.append((end_s, digest.digest()))
        begin = end
    for column in columns:
        digest.update(column[begin:].tobytes())
    digest.update(b"whole")
    return found, digest.digest()


def kept_fit(
    kept: Kept, time_s: Floats, moisture_m3_m3: Floats, *, params: DryDownParams, **asked: Any
) -> DryDown:
    """`fit_dry_down`, unless the very same stretch has been fitted before."""
    what = f"dry-down {DRY_DOWN_RULES} {params} {sorted(asked.items())}"
    digest = blake2b(what.encode(), digest_size=DIGEST_BYTES)
    digest.update(time_s.tobytes())
    digest.update(moisture_m3_m3.tobytes())
    key = digest.digest()
    found = kept.get(key, DryDown)
    if found is None:
        found = fit_dry_down(time_s, moisture_m3_m3, params=params, **asked)
        kept.put(key, found)
    return found
