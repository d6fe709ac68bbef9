"""Print the figures of the subjects named, or of all."""

import sys
from collections.abc import Callable, Iterable

import _pytest.outcomes

from tests.figures import (
    batches,
    coming_hours,
    comparison,
    day_curves,
    dry_downs,
    emergence,
    endings,
    lags,
    level,
    lids,
    lows_highs,
    notices,
    outlook,
    places,
    quality,
    recovery,
    soil_weeks,
    sowing,
    warm_days,
    warmth,
    wettings,
)

SUBJECTS: dict[str, Callable[[], Iterable[str]]] = {
    "wettings": wettings.lines,
    "dry-downs": dry_downs.lines,
    "compare": comparison.lines,
    "quality": quality.lines,
    "emergence": emergence.lines,
    "batches": batches.lines,
    "endings": endings.lines,
    "sowing": sowing.lines,
    "outlook": outlook.lines,
    "lids": lids.lines,
    "level": level.lines,
    "places": places.lines,
    "coming-hours": coming_hours.lines,
    "lags": lags.lines,
    "notices": notices.lines,
    "lows-highs": lows_highs.lines,
    "day-curve": day_curves.lines,
    "soil-weeks": soil_weeks.lines,
    "warm-days": warm_days.lines,
    "warmth": warmth.lines,
    "recovery": recovery.lines,
}


def main() -> int:
    asked = sys.argv[1:] or list(SUBJECTS)
    for name in asked:
        if name not in SUBJECTS:
            print(f"There are figures for {', '.join(SUBJECTS)}; ask as in: python -m tests.figures wettings")
            return 2
        try:
            for line in SUBJECTS[name]():
                print(line)
        except (_pytest.outcomes.Skipped, _pytest.outcomes.Failed) as missing:
            print(missing)
            return 1
    return 0


if __name__ == "__main__":
    sys.exit(main())
