"""Moisture as a part between dry and container capacity, and as the trade's levels 1 to 5."""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import ArrayLike, NDArray

from traywarden.domain.units import HOUR_S
from traywarden.domain.wetting import DAY_S, Wetting

Floats = NDArray[np.float64]

SCALE_SOURCE = "Univ. of Florida training material, backpocketgrower.org, moisture scale for plugs"
MAPPING_SOURCE = "common practice, no source: no published source maps the levels to % of volume"


@dataclass(frozen=True, slots=True)
class Level:
    """One step of the 1–5 moisture scale, with the signs a hand and an eye go by."""

    number: int
    name: str
    signs: str


LEVELS = (
    Level(1, "dry", "tan-grey, no available water, pulls from the wall"),
    Level(2, "medium-dry", "light brown or tan, light to lift; the usual point to water rooted crops"),
    Level(3, "medium", "brown; a few drops on hard squeezing; breaks into chunks"),
    Level(4, "wet", "dark, as wet as it can hold, no free water at the surface; squeezing releases water"),
    Level(5, "saturated", "dark and shiny, free water, drips when lifted"),
)
"""Names and signs as the training material has them; see SCALE_SOURCE."""


@dataclass(frozen=True, slots=True)
class DryEnd:
    """The lower end of a head's moisture [m³/m³] and where it is from; None where nothing shows it."""

    m3_m3: float | None
    days: int
    source: str


@dataclass(frozen=True, slots=True)
class DryEndParams:
    """When moisture counts as having levelled off at the bottom (no source)."""

    settled_s: float = 2 * DAY_S
    flat_m3_m3_per_d: float = 0.002
    """Change of the daily mean in a day; drying mix loses ten times as much."""
    least_days: int = 3
    same_m3_m3: float = 0.02
    below_capacity: float = 0.5
    """Only below this part of container capacity: a cool wet week is flat, too."""


def between(m3_m3: ArrayLike, dry_m3_m3: float, container_capacity_m3_m3: float) -> Floats:
    """Where moisture lies between the dry end (0) and container capacity (1).

    Parameters
    ----------
    m3_m3 : array or float [m³/m³]
    dry_m3_m3 : float [m³/m³]; mix that gives no more water
    container_capacity_m3_m3 : float [m³/m³]

    Returns
    -------
    array [1]
        Below 0 and above 1 where moisture lies outside; NaN stays NaN.

    Raises
    ------
    ValueError if container capacity is not above the dry end.

    References
    ----------
    Container capacity and its measurement: Int. J. Agronomy 2012, 978528, footnotes of Table 1.

    Examples
    --------
    >>> float(between(0.30, 0.05, 0.55))
    0.5
    """
    if not container_capacity_m3_m3 > dry_m3_m3:
        raise ValueError("container capacity must be above the dry end")
    span = container_capacity_m3_m3 - dry_m3_m3
    return np.asarray(np.round((np.asarray(m3_m3, np.float64) - dry_m3_m3) / span, 12), np.float64)


def level_of(part: float, from_part: Sequence[float]) -> Level:
    """The level of the 1–5 scale.

    Parameters
    ----------
    part : float [1]; 0 at the dry end, 1 at container capacity
    from_part : four rising numbers [1]; from which part on levels 2, 3, 4 and 5 begin

    Returns
    -------
    Level

    Notes
    -----
    Where the levels begin is an assumption: the scale is defined by look and feel.

    Raises
    ------
    ValueError if there are not four rising numbers.

    References
    ----------
    Names and signs: see SCALE_SOURCE. Mapping: see MAPPING_SOURCE.

    Examples
    --------
    >>> level_of(0.6, (0.2, 0.5, 0.8, 1.05)).name
    'medium'
    """
    if len(from_part) != len(LEVELS) - 1 or not all(a < b for a, b in pairwise(from_part)):
        raise ValueError("four rising numbers are needed for where levels 2 to 5 begin")
    return LEVELS[int(np.searchsorted(np.asarray(from_part), part, side="right"))]


def dry_end(
    hour_s: ArrayLike,
    moisture_m3_m3: ArrayLike,
    wettings: Sequence[Wetting],
    container_capacity_m3_m3: float,
    params: DryEndParams = DryEndParams(),
) -> DryEnd:
    """Where a head's moisture levels off when nobody waters: its lowest trusted plateau.

    Parameters
    ----------
    hour_s : array, shape (n,) [s], whole hours without a gap
    moisture_m3_m3 : array, shape (n,) [m³/m³]; NaN where missing, frozen or out of the question
    wettings : days within `settled_s` after one do not count
    container_capacity_m3_m3 : float [m³/m³]
    params : when it counts as level

    Returns
    -------
    DryEnd

    Notes
    -----
    Means of 24 hours. Days whose mean changes by no more than `flat_m3_m3_per_d` against the day before, far
    below container capacity and within `same_m3_m3` of the lowest of them; at least three, or it is not told.

    Raises
    ------
    ValueError if the arrays differ in length.

    References
    ----------
    The rule is this project's own.

    Examples
    --------
    >>> hour_s = np.arange(24.0 * 30) * 3600
    >>> found = dry_end(hour_s, 0.08 + 0.4 * np.exp(-hour_s / 2e5), [], 0.55)
    >>> round(found.m3_m3, 3)
    0.08
    """
    times, moisture = np.asarray(hour_s, np.float64), np.asarray(moisture_m3_m3, np.float64)
    if times.shape != moisture.shape:
        raise ValueError("there must be one moisture for each hour")
    whole = times.size // 24 * 24
    days = moisture[:whole].reshape(-1, 24)
    starts = times[:whole:24]
    known = np.isfinite(days).all(axis=1)
    for wetting in wettings:
        known &= (starts + DAY_S <= wetting.onset_s - HOUR_S) | (starts >= wetting.peak_s + params.settled_s)
    mean = np.where(known, days.mean(axis=1), np.nan)
    change = np.abs(np.diff(mean, prepend=np.nan))
    with np.errstate(invalid="ignore"):
        flat = (change <= params.flat_m3_m3_per_d) & (mean < params.below_capacity * container_capacity_m3_m3)
    if not flat.any():
        return DryEnd(None, 0, "it never dried until it levelled off")
    lowest = mean[flat].min()
    bottom = mean[flat & (mean <= lowest + params.same_m3_m3)]
    if bottom.size < params.least_days:
        return DryEnd(
            None,
            int(bottom.size),
            f"it levelled off on {bottom.size} of the {params.least_days} days it takes",
        )
    return DryEnd(float(np.median(bottom)), int(bottom.size), f"lowest plateau, {bottom.size} days")
