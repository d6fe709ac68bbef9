"""Inside of a glasshouse against outside, by `compare`."""

from collections.abc import Iterator
from zoneinfo import ZoneInfo

from tests.figures import records
from traywarden.domain.places import Comparison, compare
from traywarden.domain.units import Display


def glasshouse() -> Comparison:
    inside, outside = records.glasshouse()
    return compare(inside, outside, ZoneInfo("UTC"), base_c=10.0)


def lines() -> Iterator[str]:
    found = glasshouse()
    mean = found.mean_difference_c
    yield f"Glasshouse inside − outside: {mean.estimate:+.3f} °C"
    yield f"  95 % interval {mean.low:+.2f} to {mean.high:+.2f} °C ({mean.method})"
    yield f"  {found.common_h:.0f} h in common, {found.days_counted} of {len(found.days)} days whole"
    yield f"  {found.in_words(Display())}"
