"""What is known about one tray at one measured instant: all that a rule may look at."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np

from traywarden.domain.flags import LEFT_OUT, names
from traywarden.domain.garden import Mix
from traywarden.domain.series import FloatArray, HeadSeries, IntArray


@dataclass(frozen=True, slots=True)
class HeadSample:
    """The latest usable values of one head in the tray, none of them older than the blind limit.

    None: not measured, too old, or left out of computation; `*_trouble` then says why, in words
    (“frozen”, “stuck”, “not measured”).
    """

    label: str
    moisture_m3_m3: float | None = None
    moisture_calibrated: bool = False
    moisture_trouble: str = ""
    soil_temp_c: float | None = None
    soil_temp_trouble: str = ""


@dataclass(frozen=True, slots=True)
class Sown:
    """What stands sown in the tray. `floor_c` is the lowest temperature the crop's table gives."""

    crop: str
    sown_ms: int
    floor_c: float | None
    floor_kind: str = "published minimum"  # or “recommended range begins at” where no minimum is published
    floor_source: str = ""
    emerged_ms: int | None = None


@dataclass(frozen=True, slots=True)
class Evidence:
    """One tray at one measured instant. `sown` is the sowing that stands there; None where none was written
    down, or where it was planted out (`planted_out`)."""

    at_ms: int
    tray: str
    heads: tuple[HeadSample, ...] = ()
    mix: Mix | None = None
    litres: float | None = None
    sown: Sown | None = None
    planted_out: bool = False


def head_samples(
    heads: Sequence[HeadSeries], after_ms: int, blind_after_ms: int, extra_ms: Iterable[int] = ()
) -> list[tuple[int, tuple[HeadSample, ...]]]:
    """Every instant after `after_ms` at which a head of the tray measured, with what was known by then.

    Parameters
    ----------
    heads : sequence of HeadSeries
        The heads of one tray, cut to their stays in it; times in [s].
    after_ms : int
        Instants up to and including this one are left out [ms since 1970].
    blind_after_ms : int
        A value older than this is no longer known [ms].
    extra_ms : iterable of int
        Further instants to look at (journal entries) [ms since 1970].

    Returns
    -------
    list of (instant [ms since 1970], samples, one per head), oldest instant first

    Notes
    -----
    A sample holds the head's latest usable value at that instant: NaN and left-out readings are passed
    over and never become a value; when nothing usable is young enough the sample says why.

    Example
    -------
    >>> head_samples([], 0, 7_200_000, extra_ms=[5])
    [(5, ())]
    """
    times = [np.rint(h.time_s * 1000.0).astype(np.int64) for h in heads]
    asked = np.unique(np.concatenate([*times, np.fromiter(extra_ms, np.int64)]))
    asked = asked[asked > after_ms]
    tracks = [_tracks(h, t, asked, blind_after_ms) for h, t in zip(heads, times, strict=True)]
    return [(at_ms, tuple(t[i] for t in tracks)) for i, at_ms in enumerate(asked.tolist())]


def _tracks(head: HeadSeries, times_ms: IntArray, asked: IntArray, blind_after_ms: int) -> list[HeadSample]:
    moisture, wet_trouble = _as_of(head, "moisture_m3_m3", times_ms, asked, blind_after_ms)
    soil, soil_trouble = _as_of(head, "soil_temp_c", times_ms, asked, blind_after_ms)
    calibrated = head.moisture_calibrated
    return [
        HeadSample(head.label, m, calibrated, mt, s, st)
        for m, mt, s, st in zip(moisture, wet_trouble, soil, soil_trouble, strict=True)
    ]


def _as_of(
    head: HeadSeries, column: str, times_ms: IntArray, asked: IntArray, blind_after_ms: int
) -> tuple[list[float | None], list[str]]:
    values, flags = head.values(column), head.flags[column]
    usable = np.flatnonzero(~np.isnan(values) & ((flags & LEFT_OUT) == 0))
    last = np.searchsorted(times_ms[usable], asked, side="right") - 1
    found: list[float | None] = [None] * asked.size
    trouble = [""] * asked.size
    if usable.size:
        at = usable[np.maximum(last, 0)]
        young = (last >= 0) & (asked - times_ms[at] <= blind_after_ms)
        found = [v if ok else None for v, ok in zip(values[at].tolist(), young.tolist(), strict=True)]
    newest = np.searchsorted(times_ms, asked, side="right") - 1
    for i, value in enumerate(found):
        if value is None:
            trouble[i] = _why(values, flags, times_ms, int(newest[i]), int(asked[i]), blind_after_ms)
    return found, trouble


def _why(
    values: FloatArray, flags: IntArray, times_ms: IntArray, newest: int, at_ms: int, blind_after_ms: int
) -> str:
    if newest < 0 or at_ms - int(times_ms[newest]) > blind_after_ms:
        return "nothing sent lately"
    left_out = int(flags[newest]) & LEFT_OUT
    return " and ".join(names(left_out)) if left_out else "not measured"
