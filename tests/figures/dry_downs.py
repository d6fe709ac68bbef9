"""How the recorded series dry."""

from collections.abc import Iterator

import numpy as np

from tests.figures import records
from traywarden.domain.dry_down import DryDown, dry_downs
from traywarden.domain.waterings import find_wettings


def of(record: records.Record) -> list[DryDown]:
    wettings = find_wettings(record.time_s, record.moisture_m3_m3, record.soil_temp_c)
    return dry_downs(record.time_s, record.moisture_m3_m3, wettings, record.soil_temp_c)


def lines() -> Iterator[str]:
    for name, record in (("Bondville", records.bondville()), ("Ford Dry Lake", records.ford_dry_lake())):
        found = of(record)
        told = [d for d in found if d.told]
        yield f"{name}: {len(found)} stretches, {len(told)} of them long enough to say"
        for d in told:
            tau_d, error_d = (d.tau_s or 0.0) / 86400, (d.tau_error_s or 0.0) / 86400
            start = record.local[int(np.searchsorted(record.time_s, d.start_s))]
            yield (
                f"  from {start:%d %b}, {d.span_s / 86400:5.1f} days: tau {tau_d:6.1f} ± {error_d:4.1f} d, "
                f"residual {d.residual_m3_m3:.3f}{' held' if d.residual_held else ''}, r² {d.r2:.2f}, "
                f"ended by {d.ended_by}"
            )
