"""Ways the coming hours may go, as a bundle."""

from dataclasses import dataclass, replace

import numpy as np

from traywarden.domain.series import FloatArray


@dataclass(frozen=True, slots=True, eq=False)
class Ensemble:
    """Ways the coming hours may go: `members_c[n, h]` is what member n has in the hour that begins at
    `time_s[h]` [s since 1970]. `days` own days stand behind it; `basis` says how it was made, and `remark`
    what limits it."""

    time_s: FloatArray
    members_c: FloatArray
    days: int
    basis: str
    remark: str = ""

    def quantile_c(self, level: float) -> FloatArray:
        """The temperature that so large a part of the members stays below, hour by hour [°C]."""
        return np.asarray(np.quantile(self.members_c, level, axis=0))

    def between(self, start_s: float, end_s: float) -> FloatArray:
        """The members' hours from start_s (inclusive) to end_s (exclusive), shape (n, some) [°C]."""
        return self.members_c[:, (self.time_s >= start_s) & (self.time_s < end_s)]

    def first_hours(self, hours: int) -> "Ensemble":
        """The same ways, no longer than so many hours."""
        return replace(self, time_s=self.time_s[:hours], members_c=self.members_c[:, :hours])
