"""A packed day comes back to the last bit, and is small where sensors report few decimals."""

import math

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from traywarden.domain.flags import Flag
from traywarden.domain.packing import DAY_MS, PackedDay, day_of, packed, unpacked
from traywarden.domain.readings import VALUE_COLUMNS
from traywarden.domain.series import FloatArray, IntArray

Day = tuple[int, IntArray, dict[str, FloatArray], dict[str, IntArray]]

sensor = st.integers(-2_000_000, 2_000_000).map(lambda n: n / 10_000)
anything = st.floats(allow_nan=True, allow_infinity=True, width=64)
value = st.one_of(st.just(math.nan), st.just(-0.0), sensor, anything)
flag = st.one_of(st.just(0), st.integers(0, 2 * max(Flag) - 1))


@st.composite
def days(draw: st.DrawFn) -> list[Day]:
    found = []
    for day in sorted(draw(st.sets(st.integers(-400, 30_000), max_size=4))):
        count = draw(st.integers(1, 6))
        offsets = sorted(draw(st.lists(st.integers(0, DAY_MS - 1), min_size=count, max_size=count)))
        measured = draw(st.sets(st.sampled_from(VALUE_COLUMNS)))
        values = {
            name: np.array(draw(st.lists(value, min_size=count, max_size=count)))
            if name in measured
            else np.full(count, np.nan)
            for name in VALUE_COLUMNS
        }
        flags = {
            name: np.array(draw(st.lists(flag, min_size=count, max_size=count)), np.int64)
            if name in measured
            else np.zeros(count, np.int64)
            for name in VALUE_COLUMNS
        }
        found.append((day, np.array(offsets, np.int64) + day * DAY_MS, values, flags))
    return found


def bits(values: FloatArray) -> list[int]:
    """The very bits of each number; every NaN alike."""
    return [
        0x7FF8 << 48 if math.isnan(v) else int(b) for v, b in zip(values, values.view(np.uint64), strict=True)
    ]


@given(days())
def test_packed_days_come_back_to_the_last_bit(made: list[Day]) -> None:
    time_ms, values, flags = unpacked([packed(*day) for day in made])
    assert time_ms.tolist() == [t for _, times, _, _ in made for t in times.tolist()]
    for name in VALUE_COLUMNS:
        whole = np.concatenate([np.empty(0), *(day[2][name] for day in made)])
        assert bits(np.array(values[name])) == bits(whole)
        assert flags[name].tolist() == [f for day in made for f in day[3][name].tolist()]


def one_day(**values: list[float]) -> PackedDay:
    count = len(next(iter(values.values())))
    blank = {name: np.full(count, np.nan) for name in VALUE_COLUMNS}
    none = {name: np.zeros(count, np.int64) for name in VALUE_COLUMNS}
    given_values = {name: np.array(column) for name, column in values.items()}
    return packed(0, np.arange(count, dtype=np.int64), blank | given_values, none)


def size_of(day: PackedDay, name: str) -> int:
    part = day.values[VALUE_COLUMNS.index(name)]
    return 0 if part is None else len(part)


def test_values_of_few_decimals_take_half_the_space_and_nothing_measured_takes_none() -> None:
    day = one_day(soil_temp_c=[18.5625, -3.0, math.nan], air_temp_c=[1 / 3, 2.0, 3.0])
    assert size_of(day, "soil_temp_c") == 3 * 4
    assert size_of(day, "air_temp_c") == 3 * 8
    assert size_of(day, "rh_pct") == 0
    assert day.flags is None


def test_a_value_too_large_for_steps_is_kept_as_it_is() -> None:
    day = one_day(battery_v=[300_000.0, 1.0])
    assert unpacked([day])[1]["battery_v"].tolist() == [300_000.0, 1.0]
    assert size_of(day, "battery_v") == 2 * 8


def test_days_before_1970_have_numbers_below_none() -> None:
    assert [day_of(ms) for ms in (-DAY_MS - 1, -1, 0, DAY_MS - 1, DAY_MS)] == [-2, -1, 0, 0, 1]
