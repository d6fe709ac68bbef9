"""An exponential approach to a residual, fitted robustly."""

from dataclasses import dataclass
from typing import Literal, TypeAlias

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import least_squares

Floats = NDArray[np.float64]
Loss: TypeAlias = Literal["linear", "soft_l1", "huber", "cauchy"]


@dataclass(frozen=True, slots=True)
class Exponential:
    """values = residual + amplitude · exp(−elapsed / tau). `held`: the residual was given, not fitted."""

    tau_s: float
    tau_error_s: float
    residual: float
    amplitude: float
    held: bool
    r2: float


def fit_exponential(
    elapsed_s: Floats, values: Floats, residual: float | None, loss: Loss = "soft_l1"
) -> Exponential:
    """Fit amplitude, time constant and (unless given) residual.

    Parameters
    ----------
    elapsed_s : array, shape (n,) [s], ascending from 0, finite
    values : array, shape (n,), finite
    residual : float or None, in the unit of the values; None: fitted, between zero and the highest value
    loss : as in scipy.optimize.least_squares

    Returns
    -------
    Exponential; tau and its standard error in seconds

    Notes
    -----
    A plain fit comes first; the scatter of its residuals is the scale of the robust one. The standard error
    of tau takes neighbouring errors as a first-order autoregression (effective n smaller by (1 − ρ)/(1 + ρ)).

    References
    ----------
    Effective sample size: Bayley & Hammersley 1946, Suppl. J. R. Stat. Soc. 8:184.

    Examples
    --------
    >>> elapsed_s = np.arange(0.0, 864000.0, 3600.0)
    >>> fit = fit_exponential(elapsed_s, 50 + 70 * np.exp(-elapsed_s / 432000.0), None)
    >>> round(fit.tau_s), round(fit.residual, 3), round(fit.amplitude, 3)
    (432000, 50.0, 70.0)
    """
    span_s, low, high = float(elapsed_s[-1]), float(values.min()), float(values.max())
    spread = high - low

    def _misses(p: Floats) -> Floats:
        base = p[2] if residual is None else residual
        return np.asarray(base + p[0] * np.exp(-elapsed_s / np.exp(p[1])) - values)

    def _slopes(p: Floats) -> Floats:
        decay = np.exp(-elapsed_s / np.exp(p[1]))
        columns = [decay, p[0] * decay * elapsed_s / np.exp(p[1])]
        return np.column_stack(columns if residual is not None else [*columns, np.ones_like(decay)])

    base = residual if residual is not None else max(0.0, low - 0.1 * spread)
    tau0 = span_s / max(0.1, float(np.log(max(high - base, 1e-9) / max(low - base, 0.02 * spread))))
    start = [max(high - base, 1e-9), np.log(tau0)]
    lower, upper = [0.0, np.log(span_s / 1000)], [np.inf, np.log(span_s * 1000)]
    if residual is None:
        start, lower, upper = [*start, base], [*lower, 0.0], [*upper, max(high, 1e-9)]
        start[2] = min(max(start[2], 1e-12), upper[2])
    start[1] = float(np.clip(start[1], lower[1], upper[1]))
    plain = least_squares(_misses, start, jac=_slopes, bounds=(lower, upper), x_scale="jac")
    scale = 1.4826 * float(np.median(np.abs(plain.fun)))
    best = plain
    if loss != "linear" and scale > 1e-6 * spread:
        best = least_squares(
            _misses, plain.x, jac=_slopes, bounds=(lower, upper), x_scale="jac", loss=loss, f_scale=scale
        )
    tau_s = float(np.exp(best.x[1]))
    missed = _misses(best.x)
    total = float(((values - values.mean()) ** 2).sum())
    return Exponential(
        tau_s=tau_s,
        tau_error_s=tau_s * _log_tau_error(_slopes(best.x), missed),
        residual=float(best.x[2]) if residual is None else residual,
        amplitude=float(best.x[0]),
        held=residual is not None,
        r2=1 - float((missed**2).sum()) / total if total > 0 else float("nan"),
    )


def _log_tau_error(jacobian: Floats, missed: Floats) -> float:
    """Standard error of ln τ, errors taken as a first-order autoregression."""
    freedom = missed.size - jacobian.shape[1]
    if freedom < 1:
        return float("inf")
    squares = float((missed**2).sum())
    if squares <= 1e-24:
        return 0.0
    likeness = float(np.clip((missed[1:] * missed[:-1]).sum() / squares, 0.0, 0.99))
    covariance = np.linalg.pinv(jacobian.T @ jacobian) * squares / freedom
    return float(np.sqrt(max(covariance[1, 1], 0.0) * (1 + likeness) / (1 - likeness)))
