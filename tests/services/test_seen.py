"""Wherever chunks end, a repeated stamp is told as it would be by reading one row after the other."""

import math

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from traywarden.services.seen import SeenRows

Row = tuple[int, float, float]

cells = st.sampled_from([math.nan, 1.0, 2.0])
rows = st.lists(st.tuples(st.integers(0, 12), cells, cells), max_size=60)


def one_by_one(all_rows: list[Row]) -> list[str]:
    """What each row is, by the rule as the page on importing puts it."""
    kept: dict[int, list[float]] = {}
    told: list[str] = []
    for stamp, *values in all_rows:
        known = kept.get(stamp)
        if known is None:
            kept[stamp], told = values, [*told, "fresh"]
            continue
        pairs = list(zip(known, values, strict=True))
        if any(old != new for old, new in pairs if not math.isnan(old) and not math.isnan(new)):
            told.append("other")
        elif any(math.isnan(old) and not math.isnan(new) for old, new in pairs):
            kept[stamp], told = [n if math.isnan(o) else o for o, n in pairs], [*told, "fresh"]
        else:
            told.append("same")
    return told


@given(rows, st.integers(1, 20))
def test_rows_are_told_as_if_read_one_by_one(all_rows: list[Row], chunk: int) -> None:
    seen, told = SeenRows(2), list[str]()
    for start in range(0, len(all_rows), chunk):
        part = all_rows[start : start + chunk]
        split = seen.split(
            np.array([row[0] for row in part], dtype=np.int64), np.array([row[1:] for row in part])
        )
        kinds = np.array(["fresh"] * len(part), dtype=object)
        kinds[split.same], kinds[split.other] = "same", "other"
        assert (split.fresh == (kinds == "fresh")).all()
        told += kinds.tolist()
    seen.close()
    assert told == one_by_one(all_rows)
