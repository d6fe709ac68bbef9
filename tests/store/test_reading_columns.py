"""Storing by columns leaves the same tables as storing row by row."""

import numpy as np

from traywarden.domain.readings import BOOT_IMPORTED, Reading
from traywarden.store import probes, readings
from traywarden.store.store import Store

TIMES_MS = np.array([1000, 2000, 3000], dtype=np.int64)
NAN = float("nan")


def stored(store: Store, probe: str) -> dict[str, list[float | None]]:
    with store.read() as tx:
        found = readings.columns(tx, probes.head_labelled(tx, f"{probe}/1").head_id, 0, 9999)
    values = {
        name: [None if np.isnan(v) else float(v) for v in array] for name, array in found.values.items()
    }
    return values | {
        "time_ms": found.time_ms.tolist(),
        "sequence": found.sequence.tolist(),
        "boot": found.boot.tolist(),
        "received_ms": found.received_ms.tolist(),
    }


def test_columns_and_rows_give_the_same_table(store: Store) -> None:
    soil, moist = np.array([1.5, NAN, 3.5]), np.array([0.1, 0.2, NAN])
    with store.write() as tx:
        new = readings.insert_columns(
            tx, "columns", 1, BOOT_IMPORTED, TIMES_MS, 7, {"moisture_m3_m3": moist, "soil_temp_c": soil}
        )
        rows = [
            Reading("rows", 1, BOOT_IMPORTED, t, t, 7, soil_temp_c=s, moisture_m3_m3=m)
            for t, s, m in zip((1000, 2000, 3000), (1.5, None, 3.5), (0.1, 0.2, None), strict=True)
        ]
        readings.insert(tx, rows)
    assert new == 3
    assert stored(store, "columns") == stored(store, "rows")


def test_what_is_known_stands_and_its_blanks_are_filled(store: Store) -> None:
    def put(column: str, *values: float) -> int:
        with store.write() as tx:
            return readings.insert_columns(
                tx, "p", 1, BOOT_IMPORTED, TIMES_MS[: len(values)], 7, {column: np.array(values)}
            )

    assert put("soil_temp_c", 1.0, NAN) == 2
    assert put("soil_temp_c", 9.0, 2.0, 3.0) == 1
    assert put("moisture_m3_m3", 0.1, 0.2, 0.3) == 0
    assert put("moisture_m3_m3") == 0
    found = stored(store, "p")
    assert found["soil_temp_c"] == [1.0, 2.0, 3.0]
    assert found["moisture_m3_m3"] == [0.1, 0.2, 0.3]
