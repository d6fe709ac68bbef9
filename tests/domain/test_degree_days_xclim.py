"""The average method against xclim; alone in its file because xclim is slow to import."""

import warnings

import numpy as np
import pandas as pd

with warnings.catch_warnings():
    # xclim's imports (numba, pint, dask and kin) announce their own deprecations; nothing of ours.
    warnings.simplefilter("ignore")
    import xarray
    from xclim.indices import growing_degree_days

from traywarden.domain.degree_days import degree_days


def test_yearly_sum_of_the_average_method_equals_xclims_growing_degree_days() -> None:
    """xclim 0.62 sums max(0, mean − threshold) over each year; 1e-6 relative."""
    numbers = np.random.default_rng(7)
    low = numbers.normal(6.0, 6.0, 730)
    high = low + numbers.uniform(0.0, 15.0, 730)
    dates = pd.date_range("2021-01-01", periods=730, freq="D")
    mean = xarray.DataArray((low + high) / 2.0, coords={"time": dates}, dims="time", attrs={"units": "degC"})
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # as above: pint and xarray on units and frequencies
        theirs = growing_degree_days(mean, thresh="7.5 degC", freq="YS").to_numpy()
    ours = pd.Series(degree_days(low, high, 7.5, method="average"), index=dates).groupby(dates.year).sum()
    np.testing.assert_allclose(ours.to_numpy(), theirs, rtol=1e-6)
    assert (theirs > 300).all()
