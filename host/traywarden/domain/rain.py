"""Rain: told from waterings by the journal, by a gauge, or by trays that rise together."""

from collections.abc import Callable, Hashable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import TypeAlias, TypeVar

import numpy as np
from numpy.typing import ArrayLike, NDArray

from traywarden.domain.units import HOUR_S
from traywarden.domain.wetting import Wetting, WettingKind

Floats = NDArray[np.float64]
K = TypeVar("K", bound=Hashable)
Cover: TypeAlias = Callable[[K, float], bool]


@dataclass(frozen=True, slots=True)
class Told:
    """What the journal says: water came at about `at_s`, to `tray`, or (None) to every uncovered tray."""

    at_s: float
    tray: Hashable | None
    kind: WettingKind


@dataclass(frozen=True, slots=True)
class RainParams:
    """When risings of several trays are one rain. All values are common practice, no source."""

    window_s: float = 45 * 60.0
    """Trays whose rises began within this time (and one spacing of readings) rose together."""
    least_share: float = 0.6
    """Share of the uncovered trays that must rise: rain reaches all, save under a leaf or a dry crust."""
    least_trays: int = 2
    record_before_s: float = 3 * HOUR_S
    """Rain recorded up to this long before the rise caused it: water takes its time down to the sensor."""
    least_rain_mm: float = 0.2
    """One tip of a usual rain gauge; less does not reach the sensor."""
    told_s: float = 3 * HOUR_S
    """A watering in the journal this near the rise explains it: people write things down later."""
    told_rain_s: float = 12 * HOUR_S


DEFAULT_RAIN_PARAMS = RainParams()


def together(
    events_by_tray: Mapping[K, Sequence[Wetting]], params: RainParams = DEFAULT_RAIN_PARAMS
) -> list[list[tuple[K, Wetting]]]:
    """Group wettings of several trays that began at the same time.

    Parameters
    ----------
    events_by_tray : wettings of each tray
    params : `window_s` is used

    Returns
    -------
    list of groups, oldest first, each a list of (tray, wetting); a wetting alone is a group of one

    Notes
    -----
    A group begins with its first onset and takes in what begins within `window_s` plus one spacing of the
    readings, as an onset is known no better than that.

    References
    ----------
    The rule is this project’s own; see `RainParams`.

    Examples
    --------
    >>> a = Wetting(0.0, 600.0, 0.3, 0.4, 600.0, 300.0, WettingKind.FROM_ABOVE, 0.8, "")
    >>> b = Wetting(900.0, 1500.0, 0.3, 0.4, 600.0, 300.0, WettingKind.FROM_ABOVE, 0.8, "")
    >>> [[tray for tray, _ in group] for group in together({"one": [a], "two": [b]})]
    [['one', 'two']]
    """
    flat = sorted(
        ((tray, event) for tray, events in events_by_tray.items() for event in events),
        key=lambda pair: pair[1].onset_s,
    )
    groups: list[list[tuple[K, Wetting]]] = []
    for tray, event in flat:
        if groups:
            first = groups[-1][0][1]
            reach = params.window_s + max(first.spacing_s, event.spacing_s)
            if event.onset_s - first.onset_s <= reach:
                groups[-1].append((tray, event))
                continue
        groups.append([(tray, event)])
    return groups


def classify(
    events_by_tray: Mapping[K, Sequence[Wetting]],
    covered: Cover[K],
    *,
    rain_time_s: ArrayLike = (),
    rain_mm: ArrayLike = (),
    told: Sequence[Told] = (),
    params: RainParams = DEFAULT_RAIN_PARAMS,
) -> dict[K, list[Wetting]]:
    """Tell rain from waterings, looking at all trays at once.

    Parameters
    ----------
    events_by_tray : wettings of every tray that had readings; an empty list for one that saw none
    covered : whether rain is kept off this tray at that instant [s]
    rain_time_s, rain_mm : rain gauge, [s] and [mm] since the reading before, ascending; empty if none
    told : waterings and rain from the journal

    Returns
    -------
    dict of tray to its wettings, kinds, confidences and reasons set anew

    Notes
    -----
    In this order: the journal; a rain gauge that was reading at the time; trays rising together. When covered
    trays rose as well, somebody went round with a can, and it was no rain. What none of this decides keeps
    the kind told from its speed. A covered tray never gets rain.

    References
    ----------
    The rule is this project’s own; see `RainParams`.

    Examples
    --------
    >>> a = Wetting(0.0, 600.0, 0.3, 0.4, 600.0, 300.0, WettingKind.FROM_ABOVE, 0.8, "")
    >>> kinds = classify({"one": [a], "two": [a], "frame": []}, lambda tray, at_s: tray == "frame")
    >>> kinds["one"][0].kind.value, kinds["one"][0].reason
    ('rain', '2 of 2 uncovered trays rose together and none of 1 covered')
    """
    gauge = _Gauge(np.asarray(rain_time_s, dtype=np.float64), np.asarray(rain_mm, dtype=np.float64), params)
    done: dict[K, list[Wetting]] = {tray: [] for tray in events_by_tray}
    by_tray: dict[Hashable | None, list[Told]] = {}
    for entry in told:
        by_tray.setdefault(entry.tray, []).append(entry)
    told_of = {tray: _Journal([*by_tray.get(tray, ()), *by_tray.get(None, ())]) for tray in events_by_tray}
    for group in together(events_by_tray, params):
        shared = _rain_by_company(group, list(events_by_tray), covered, params)
        for tray, event in group:
            mine = told_of[tray].near(event, params)
            judged = _told(event, mine, covered(tray, event.onset_s), params)
            if judged is None and not covered(tray, event.onset_s):
                judged = gauge.judge(event)
                if judged is None and shared is not None:
                    confidence, reason = shared
                    judged = replace(event, kind=WettingKind.RAIN, confidence=confidence, reason=reason)
            done[tray].append(judged or event)
    return {tray: sorted(events, key=lambda e: e.onset_s) for tray, events in done.items()}


class _Journal:
    """What the journal tells of one tray."""

    def __init__(self, told: Sequence[Told]) -> None:
        self._told = told
        self._at_s = np.array([entry.at_s for entry in told], dtype=np.float64)

    def near(self, event: Wetting, params: RainParams) -> list[Told]:
        """What may explain the wetting by its time; `_told` looks closer."""
        reach = max(params.told_s, params.told_rain_s)
        end_s = max(event.peak_s, event.onset_s) + reach
        close = (self._at_s >= event.onset_s - reach) & (self._at_s <= end_s)
        return [self._told[n] for n in np.flatnonzero(close).tolist()]


def _told(event: Wetting, told: Sequence[Told], is_covered: bool, params: RainParams) -> Wetting | None:
    near = sorted(told, key=lambda t: abs(t.at_s - event.onset_s))
    for entry in near:
        reach = params.told_rain_s if entry.kind is WettingKind.RAIN else params.told_s
        start, end = event.onset_s - reach, max(event.peak_s, event.onset_s) + reach
        if (entry.tray is not None or not is_covered) and start <= entry.at_s <= end:
            kind = event.kind if entry.kind is WettingKind.UNCLEAR else entry.kind
            return replace(event, kind=kind, confidence=0.95, reason=f"the journal says so; {event.reason}")
    return None


class _Gauge:
    """What the rain gauge says of a wetting; nothing where it was not reading."""

    def __init__(self, times: Floats, rain_mm: Floats, params: RainParams) -> None:
        known = np.isfinite(rain_mm)
        self.times, self.rain_mm, self.params = times[known], rain_mm[known], params

    def judge(self, event: Wetting) -> Wetting | None:
        start, end = event.onset_s - self.params.record_before_s, event.peak_s + event.spacing_s
        first, last = np.searchsorted(self.times, [start, end], side="right")
        if first == last:
            return None
        fell_mm = float(self.rain_mm[first:last].sum())
        if fell_mm >= self.params.least_rain_mm - 1e-9:
            return replace(
                event,
                kind=WettingKind.RAIN,
                confidence=0.9,
                reason=f"the rain gauge recorded {fell_mm:.1f} mm",
            )
        return replace(event, reason=f"{event.reason}; the rain gauge recorded none")


def _rain_by_company(
    group: list[tuple[K, Wetting]], trays: list[K], covered: Cover[K], params: RainParams
) -> tuple[float, str] | None:
    """Confidence and reason when the group looks like one rain, else None."""
    at_s = group[0][1].onset_s
    rose = {tray for tray, _ in group}
    if len(rose) < params.least_trays:
        return None
    is_covered = {t: covered(t, at_s) for t in trays}
    open_trays = [t for t in trays if not is_covered[t]]
    dry_trays = [t for t in trays if is_covered[t]]
    wet = sum(t in rose for t in open_trays)
    if wet < params.least_trays or wet < params.least_share * len(open_trays):
        return None
    words = f"{wet} of {len(open_trays)} uncovered trays rose together"
    if not dry_trays:
        return 0.6, f"{words}; there is no covered tray to compare with"
    if any(t in rose for t in dry_trays):
        return None
    return 0.8, f"{words} and none of {len(dry_trays)} covered"
