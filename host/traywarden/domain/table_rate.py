"""Development of seed at a temperature, straight from the published days to emergence."""

from dataclasses import dataclass

import numpy as np

from traywarden.domain.crops import Crop
from traywarden.domain.series import FloatArray

LOG_SPREAD = 0.25
"""Spread of ln(days) about the table, of other seed and other mix (common practice, no source)."""
RANGE_LOG_SPREAD = 0.4
"""The same where only days for a recommended range are published (common practice, no source)."""
BORROWED_BASE_C = 4.0
FREE_SPAN_C = 8.0
"""Where only a range is published: development begins at 4 °C, rises straight to the range, and ends 16 °C
above it (common practice, no source)."""


@dataclass(frozen=True, slots=True, eq=False)
class TableRate:
    """Development [1/d] at temperatures: straight lines between `temps_c` and `per_d`, zero outside them."""

    temps_c: FloatArray
    per_d: FloatArray
    log_spread: float
    says: str

    def rate_per_d(self, temp_c: FloatArray) -> FloatArray:
        """Rates at temperatures [°C] of any shape; NaN stays NaN."""
        return np.asarray(np.interp(temp_c, self.temps_c, self.per_d, left=0.0, right=0.0))


def table_rate(crop: Crop) -> TableRate | None:
    """The rate of a crop from its published days; None where none are published.

    Parameters
    ----------
    crop : Crop

    Returns
    -------
    TableRate or None

    Notes
    -----
    The reciprocal of the days to emergence, in straight lines between the temperatures tested, down to zero
    at the nearest temperature at which none came up, or else at the crop's limits; where a limit is not
    published either, at the last temperature tested.

    References
    ----------
    Rate summation of published days: Harrington & Minges 1954, as in Knott's Handbook for Vegetable Growers.

    Examples
    --------
    >>> days = ((10.0, 43.0), (15.0, 14.0), (20.0, 8.0), (25.0, 6.0), (40.0, None))
    >>> tomato = table_rate(Crop("tomato", "Tomato", min_c=10.0, max_c=35.0, days_to_emergence=days))
    >>> (1 / tomato.rate_per_d(np.array([15.0, 25.0]))).round(1).tolist(), tomato.rate_per_d(np.array([5.0]))
    ([14.0, 6.0], array([0.]))
    """
    tested = [(t, 1.0 / d) for t, d in crop.days_to_emergence if d is not None]
    if len(tested) >= 2:
        none_up = [t for t, d in crop.days_to_emergence if d is None]
        first_c, last_c = tested[0][0], tested[-1][0]
        cold = max((t for t in none_up if t < first_c), default=crop.min_c)
        warm = min((t for t in none_up if t > last_c), default=crop.max_c)
        if cold is not None and cold < first_c:
            tested = [(cold, 0.0), *tested]
        if warm is not None and warm > last_c:
            tested = [*tested, (warm, 0.0)]
        temps, rates = (np.array(column) for column in zip(*tested, strict=True))
        return TableRate(temps, rates, LOG_SPREAD, f"days to emergence by temperature ({crop.days_source})")
    if crop.days_in_range is None or crop.opt_low_c is None or crop.opt_high_c is None:
        return None
    fewest, most = crop.days_in_range
    per_d = 1.0 / np.sqrt(fewest * most)
    high_c = crop.opt_high_c + FREE_SPAN_C
    temps = np.array([BORROWED_BASE_C, crop.opt_low_c, high_c, high_c + FREE_SPAN_C])
    says = f"{fewest:g} to {most:g} days, published for its recommended range alone ({crop.source})"
    return TableRate(temps, np.array([0.0, per_d, per_d, 0.0]), RANGE_LOG_SPREAD, says)
