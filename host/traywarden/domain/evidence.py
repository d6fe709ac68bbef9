"""What is known about one tray at one measured instant: all that a rule may look at."""

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np

from traywarden.domain.flags import LEFT_OUT, names
from traywarden.domain.garden import Mix
from traywarden.domain.levels import Of
from traywarden.domain.series import FloatArray, HeadSeries, IntArray
from traywarden.domain.stage import Stage, stage_at


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
    """What stands sown in the tray. `floor_c` is the lowest temperature the crop's table gives, `ceiling_c`
    the highest; `key` is the crop's in that table."""

    crop: str
    sown_ms: int
    floor_c: float | None
    floor_kind: str = "published minimum"  # or “recommended range begins at” where no minimum is published
    floor_source: str = ""
    emerged_ms: int | None = None
    key: str = ""
    ceiling_c: float | None = None
    ceiling_kind: str = ""
    ceiling_source: str = ""
    falls_asleep: bool = False  # its seed is sent to sleep by heat, and will not wake when it is cool again
    potted_ms: int | None = None


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

    @property
    def stage(self) -> Stage:
        return stage_of(self.at_ms, self.sown, planted_out=self.planted_out)

    @property
    def of(self) -> Of:
        """What a level may hang on."""
        return level_of(self.mix, self.sown, self.stage)


def stage_of(at_ms: int, sown: Sown | None, *, planted_out: bool) -> Stage:
    if sown is None:
        return stage_at(at_ms, None, planted_out=planted_out)
    return stage_at(at_ms, sown.sown_ms, sown.emerged_ms, sown.potted_ms, planted_out=planted_out)


def level_of(mix: Mix | None, sown: Sown | None, stage: Stage) -> Of:
    """What a level may hang on.

    >>> level_of(None, None, Stage.EMPTY)
    Of(crop='', mix='', stage='empty')
    """
    return Of("" if sown is None else sown.key, "" if mix is None else mix.name, stage.value)


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
    tracks = Tracks(heads, after_ms, blind_after_ms, extra_ms)
    return [(at_ms, tracks.samples(i)) for i, at_ms in enumerate(tracks.at_ms.tolist())]


class Tracks:
    """What the heads of a tray had to say at many instants at once; arguments as in `head_samples`.

    `moisture_m3_m3` and `soil_temp_c` have one row for each head and one column for each instant `at_ms`; NaN
    where nothing usable is known.
    """

    def __init__(
        self, heads: Sequence[HeadSeries], after_ms: int, blind_after_ms: int, extra_ms: Iterable[int] = ()
    ) -> None:
        self._heads, self._blind_after_ms = heads, blind_after_ms
        self.calibrated = tuple(h.moisture_calibrated for h in heads)
        self._times = [np.rint(h.time_s * 1000.0).astype(np.int64) for h in heads]
        asked = np.unique(np.concatenate([*self._times, np.fromiter(extra_ms, np.int64)]))
        self.at_ms: IntArray = asked[asked > after_ms]
        self.moisture_m3_m3 = self._known("moisture_m3_m3")
        self.soil_temp_c = self._known("soil_temp_c")
        self._wet, self._soil = self.moisture_m3_m3.tolist(), self.soil_temp_c.tolist()

    def samples(self, instant: int) -> tuple[HeadSample, ...]:
        """One sample for each head at the instant of this number."""
        return tuple(self._sample(n, instant) for n in range(len(self._heads)))

    def _known(self, column: str) -> FloatArray:
        rows = [self._as_of(h, t, column) for h, t in zip(self._heads, self._times, strict=True)]
        return np.array(rows) if rows else np.empty((0, self.at_ms.size))

    def _as_of(self, head: HeadSeries, times_ms: IntArray, column: str) -> FloatArray:
        values, flags = head.values(column), head.flags[column]
        usable = np.flatnonzero(~np.isnan(values) & ((flags & LEFT_OUT) == 0))
        if not usable.size:
            return np.full(self.at_ms.size, np.nan)
        last = np.searchsorted(times_ms[usable], self.at_ms, side="right") - 1
        at = usable[np.maximum(last, 0)]
        young = (last >= 0) & (self.at_ms - times_ms[at] <= self._blind_after_ms)
        return np.where(young, values[at], np.nan)

    def _sample(self, n: int, instant: int) -> HeadSample:
        head = self._heads[n]
        wet, soil = self._wet[n][instant], self._soil[n][instant]
        no_wet, no_soil = math.isnan(wet), math.isnan(soil)
        return HeadSample(
            head.label,
            None if no_wet else wet,
            head.moisture_calibrated,
            self._trouble(n, "moisture_m3_m3", instant) if no_wet else "",
            None if no_soil else soil,
            self._trouble(n, "soil_temp_c", instant) if no_soil else "",
        )

    def _trouble(self, n: int, column: str, instant: int) -> str:
        head, times_ms, at_ms = self._heads[n], self._times[n], int(self.at_ms[instant])
        newest = int(np.searchsorted(times_ms, at_ms, side="right")) - 1
        if newest < 0 or at_ms - int(times_ms[newest]) > self._blind_after_ms:
            return "nothing sent lately"
        left_out = int(head.flags[column][newest]) & LEFT_OUT
        return " and ".join(names(left_out)) if left_out else "not measured"
