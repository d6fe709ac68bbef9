"""The robust regression behind a learned lag, and how far off it is on days it has not seen."""

import numpy as np

from traywarden.domain.series import FloatArray, IntArray

_FOLDS = 5
_HUBER = 1.345  # 95 % efficiency at the normal distribution (Huber 1981)
# What is believed of gain, slow gain, offset [°C] and sun of morning and afternoon [°C] before anything is
# known: mean and spread. Wide, so that a fortnight of readings outweighs them; no source.
_PRIOR = np.array([1.0, 0.0, 0.0, 0.0, 0.0])
_PRIOR_SPREAD = np.array([0.4, 0.4, 5.0, 10.0, 10.0])
_DEPENDENT_H = 24.0  # neighbouring hours err alike: a day of them weighs as one against what was believed


def fitted(columns: FloatArray, soil_c: FloatArray, weights: FloatArray) -> tuple[FloatArray, float]:
    """Coefficients of a robust regression, held lightly to what is believed beforehand.

    Parameters
    ----------
    columns : array, shape (n, 5), what the coefficients multiply: air and its slow part [°C], 1, and the sun
        of morning and afternoon
    soil_c : array, shape (n,) [°C]
    weights : array, shape (n,)

    Returns
    -------
    (array of shape (5,), mean square of residuals cut at three robust deviations [°C²])

    Notes
    -----
    Huber's weights, four rounds. A day of neighbouring hours weighs as one against what is believed.

    References
    ----------
    Huber 1981, Robust Statistics.

    Examples
    --------
    >>> air = 10 + 5 * np.sin(np.arange(240) / 24 * 2 * np.pi)
    >>> zero = np.zeros(240)
    >>> found, _ = fitted(np.stack([air, zero, zero + 1, zero, zero], axis=1), air + 2, np.ones(240))
    >>> found.round(2).tolist()
    [1.0, 0.0, 2.0, 0.0, 0.0]
    """
    robust = weights
    coefficients, scale = _PRIOR, 1.0
    for _ in range(4):
        held = np.diag(_DEPENDENT_H * scale**2 / _PRIOR_SPREAD**2)
        weighted = columns * robust[:, None]
        coefficients = np.linalg.solve(columns.T @ weighted + held, weighted.T @ soil_c + held @ _PRIOR)
        left = np.abs(soil_c - columns @ coefficients)
        scale = max(1.4826 * _weighted_median(left, weights), 1e-3)
        robust = weights * np.minimum(1.0, _HUBER * scale / np.maximum(left, 1e-9))
    return coefficients, float(np.average(np.minimum(left, 3 * scale) ** 2, weights=weights))


def _weighted_median(values: FloatArray, weights: FloatArray) -> float:
    order = np.argsort(values)
    reached = np.cumsum(weights[order])
    return float(values[order][np.searchsorted(reached, reached[-1] / 2)])


def unseen_errors(columns: FloatArray, soil_c: FloatArray, weights: FloatArray, days: IntArray) -> FloatArray:
    """Errors on days that the fit had not seen: runs of days in turn are foretold from the others.

    Parameters
    ----------
    columns, soil_c, weights : as in `fitted`
    days : int array, shape (n,), the day each row belongs to

    Returns
    -------
    array, shape (n,) [°C], truth − foretold

    References
    ----------
    Blocked cross-validation: Roberts et al. 2017, Ecography 40:913.

    Examples
    --------
    >>> air = 10 + 5 * np.sin(np.arange(240) / 24 * 2 * np.pi)
    >>> zero = np.zeros(240)
    >>> columns = np.stack([air, zero, zero + 1, zero, zero], axis=1)
    >>> bool(np.abs(unseen_errors(columns, air + 2, np.ones(240), np.arange(240) // 24)).max() < 0.1)
    True
    """
    distinct = np.unique(days)
    folds = np.searchsorted(distinct, days) * _FOLDS // max(distinct.size, 1)
    errors = np.empty(soil_c.size)
    for fold in np.unique(folds):
        out = folds == fold
        coefficients, _ = fitted(columns[~out], soil_c[~out], weights[~out])
        errors[out] = soil_c[out] - columns[out] @ coefficients
    return errors


def memory_h(left_c: FloatArray) -> float:
    """How long an error lasts: the time in which its autocorrelation falls to 1/e.

    Parameters
    ----------
    left_c : array, shape (n,) [°C], hourly residuals; NaN where not known

    Returns
    -------
    float [h], 0.5 … 48

    Notes
    -----
    From the correlation of neighbouring hours, as of a first-order autoregressive process.

    Examples
    --------
    >>> memory_h(np.tile([1.0, 1.0, -1.0, -1.0], 20)), memory_h(np.ones(50))
    (0.5, 48.0)
    """
    left = left_c
    both = np.isfinite(left[1:]) & np.isfinite(left[:-1])
    one, other = left[1:][both], left[:-1][both]
    size = float(np.sqrt((one**2).mean() * (other**2).mean())) if one.size else 0.0
    kept = float((one * other).mean()) / size if size > 0 else 0.0
    return round(float(np.clip(-1.0 / np.log(np.clip(kept, 1e-3, 0.98)), 0.5, 48.0)), 6)
