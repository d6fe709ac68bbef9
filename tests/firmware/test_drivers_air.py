"""SHT3x, SHT4x and BME280: published conversions, limits, garbled and missing answers."""

import json
from types import ModuleType
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from drivers import SensorError, bme280, crc8, sht3x, sht4x
from tests.interpreter.fakes.buses import I2cBus, Registers, Sht
from tests.shared_data import reference_file

# H1…H6 of the size that is usual, with every sign; E4…E6 share nibbles.
_TRIM_H = {"h1": 75, "h2": 362, "h3": 0, "h4": 324, "h5": -50, "h6": 30}


class _Waiting:
    """A clock that runs only while it is waited."""

    def __init__(self) -> None:
        self.now_ms = 0

    def __call__(self, ms: int) -> None:
        self.now_ms += ms


def _vectors(name: str) -> Any:
    return json.loads(reference_file("sensor_vectors.json").read_text())[name]


def _answer(temp_raw: int, rh_raw: int) -> bytes:
    words = [temp_raw.to_bytes(2, "big"), rh_raw.to_bytes(2, "big")]
    return b"".join(word + bytes((crc8.sensirion(word),)) for word in words)


@pytest.mark.data
def test_published_conversions_of_both_kinds() -> None:
    rows = _vectors("sht_conversion_computed")
    assert {0, 65535} <= {row["raw"] for row in rows}
    for row in rows:
        raw = row["raw"]
        # The table is rounded to six decimals.
        assert sht3x.temperature_c(raw) == pytest.approx(row["sht3x_t_c"], abs=5e-7)
        assert sht3x.humidity_pct(raw) == pytest.approx(row["sht3x_rh"], abs=5e-7)
        assert sht4x.temperature_c(raw) == pytest.approx(row["sht4x_t_c"], abs=5e-7)
        assert sht4x.humidity_pct(raw) == pytest.approx(row["sht4x_rh_unclamped"], abs=5e-7)
        # The maker's own fixed-point code cuts off up to one step of 2⁻¹³ · 21875 m°C and divides by 2¹⁶.
        assert sht3x.temperature_c(raw) * 1000 == pytest.approx(row["sht3x_fixed_mC"], abs=4)
        assert sht3x.humidity_pct(raw) * 1000 == pytest.approx(row["sht3x_fixed_mRH"], abs=4)


@pytest.mark.parametrize("driver", [sht3x, sht4x])
def test_an_answer_gives_both_values_and_humidity_stays_within_0_and_100(driver: ModuleType) -> None:
    temp_c, rh_pct = driver.from_answer(_answer(0x6666, 0xFFFF))
    assert (temp_c, rh_pct) == (pytest.approx(25.0), 100.0)
    assert driver.from_answer(_answer(0x4000, 0))[1] == 0.0
    assert driver.from_answer(_answer(0x4000, 0))[0] == pytest.approx(-1.249332, abs=5e-7)


@pytest.mark.parametrize("driver", [sht3x, sht4x])
@pytest.mark.parametrize("raw", [0, 0xFFFF])
def test_a_temperature_beyond_what_it_measures_is_refused(driver: ModuleType, raw: int) -> None:
    with pytest.raises(SensorError, match="cannot measure"):
        driver.from_answer(_answer(raw, 0x8000))


@pytest.mark.parametrize("driver", [sht3x, sht4x])
@pytest.mark.parametrize("answer", [bytes(6), b"\xff" * 6, b"", _answer(0x6666, 0x8000)[:5]])
def test_a_dead_or_cut_answer_is_refused(driver: ModuleType, answer: bytes) -> None:
    with pytest.raises(SensorError, match="garbled"):
        driver.from_answer(answer)


@given(st.integers(0, 0xFFFF), st.integers(0, 0xFFFF), st.integers(0, 47))
def test_any_flipped_bit_of_an_answer_is_refused(temp_raw: int, rh_raw: int, place: int) -> None:
    answer = bytearray(_answer(temp_raw, rh_raw))
    answer[place // 8] ^= 1 << place % 8
    with pytest.raises(SensorError):
        sht3x.from_answer(bytes(answer))


@pytest.mark.parametrize(("driver", "kind"), [(sht3x, "sht3x"), (sht4x, "sht4x")])
def test_on_the_bus_it_is_asked_waited_for_and_read(driver: ModuleType, kind: str) -> None:
    wait = _Waiting()
    bus = I2cBus({0x45: Sht(kind, 0x6666, 0x8000)}, lambda: wait.now_ms)
    assert driver.read(bus, wait, 0x45)[0] == pytest.approx(25.0)
    assert wait.now_ms == driver.MEASURING_MS
    with pytest.raises(SensorError, match="no answer"):
        driver.read(bus, wait, 0x44)


def test_one_kind_does_not_answer_the_other_kinds_question() -> None:
    wait = _Waiting()
    bus = I2cBus({0x44: Sht("sht3x", 0x6666, 0x8000)}, lambda: wait.now_ms)
    with pytest.raises(SensorError, match="no answer"):
        sht4x.read(bus, wait)
    assert sht3x.read(bus, wait)[1] == pytest.approx(50.000763)


@pytest.mark.data
def test_bme280_worked_case_of_the_datasheet() -> None:
    case = _vectors("bmx280_temperature")
    fine = bme280.fine(case["adc_T"], case["dig_T1"], case["dig_T2"], case["dig_T3"])
    assert fine == pytest.approx(case["t_fine_float"])
    assert bme280.temperature_c(fine) == pytest.approx(case["T_float"])
    assert round(bme280.temperature_c(fine) * 100) == case["T_hundredths"]


def _bosch_integer_humidity_pct(raw: int, t_fine: int, t: dict[str, int]) -> float:
    """The datasheet's 32-bit integer compensation (section 4.2.3), output in 1/1024 %: another formula."""
    x = t_fine - 76800
    x = ((((raw << 14) - (t["h4"] << 20) - (t["h5"] * x)) + 16384) >> 15) * (
        ((((((x * t["h6"]) >> 10) * (((x * t["h3"]) >> 11) + 32768)) >> 10) + 2097152) * t["h2"] + 8192) >> 14
    )
    x -= ((((x >> 15) * (x >> 15)) >> 7) * t["h1"]) >> 4
    return (min(max(x, 0), 419430400) >> 12) / 1024


def _trim_bytes(h: dict[str, int]) -> tuple[bytes, bytes]:
    first = (27504).to_bytes(2, "little") + (26435).to_bytes(2, "little")
    first += (-1000).to_bytes(2, "little", signed=True) + bytes(19) + bytes((h["h1"],))
    h4, h5 = h["h4"] & 0xFFF, h["h5"] & 0xFFF
    second = h["h2"].to_bytes(2, "little", signed=True)
    second += bytes((h["h3"], h4 >> 4, (h5 & 0xF) << 4 | h4 & 0xF, h5 >> 4, h["h6"] & 0xFF))
    return first, second


@given(
    st.integers(0, 0xFFFF),
    st.integers(-40 * 5120, 85 * 5120),
    st.fixed_dictionaries(
        {
            "h1": st.integers(60, 90),
            "h2": st.integers(300, 400),
            "h3": st.integers(0, 5),
            "h4": st.integers(250, 400),
            "h5": st.integers(-60, 60),
            "h6": st.integers(-60, 60),
        }
    ),
)
def test_bme280_humidity_agrees_with_the_makers_integer_formula(
    raw: int, t_fine: int, h: dict[str, int]
) -> None:
    # Bosch gives 0.008 % as resolution of the integer formula; its shifts cut off a few times that.
    rh_pct = bme280.humidity_pct(raw, t_fine, bme280.Trim(*_trim_bytes(h)))
    assert rh_pct == pytest.approx(_bosch_integer_humidity_pct(raw, t_fine, h), abs=0.05)


def test_bme280_trim_values_with_signs_and_shared_nibbles() -> None:
    extremes = {"h1": 255, "h2": -32768, "h3": 255, "h4": -2048, "h5": 2047, "h6": -128}
    for wanted in (_TRIM_H, extremes, extremes | {"h4": 2047, "h5": -2048, "h6": 127}):
        trim = bme280.Trim(*_trim_bytes(wanted))
        assert {key: getattr(trim, key) for key in wanted} == wanted
        assert (trim.t1, trim.t2, trim.t3) == (27504, 26435, -1000)


def _bme280(temp_raw: int = 519888, rh_raw: int = 28000, **more: int) -> Registers:
    first, second = _trim_bytes(_TRIM_H)
    held = {0xD0: 0x60, 0xF3: 0} | dict(enumerate(first, 0x88)) | dict(enumerate(second, 0xE1))
    data = bytes((temp_raw >> 12, temp_raw >> 4 & 0xFF, temp_raw << 4 & 0xF0)) + rh_raw.to_bytes(2, "big")
    return Registers(
        held | dict(enumerate(data, 0xFA)) | {int(key[1:], 16): value for key, value in more.items()}
    )


def test_bme280_on_the_bus() -> None:
    wait, chip = _Waiting(), _bme280()
    temp_c, rh_pct = bme280.read(I2cBus({0x76: chip}, lambda: wait.now_ms), wait)
    assert temp_c == pytest.approx(25.08, abs=0.005)
    assert rh_pct == pytest.approx(_bosch_integer_humidity_pct(28000, 128422, _TRIM_H), abs=0.05)
    assert (chip.held[0xF2], chip.held[0xF4]) == (1, 0x21)  # one sample of each, no pressure, one measurement


@pytest.mark.parametrize(
    ("chip", "why"),
    [
        (_bme280(xD0=0x58), "another chip"),
        (_bme280(temp_raw=0x80000), "did not measure"),
        (_bme280(rh_raw=0x8000), "did not measure"),
        (_bme280(temp_raw=0), "cannot measure"),
        (_bme280(temp_raw=0xFFFFF), "cannot measure"),
        (_bme280(xF3=0x08), "does not finish"),
    ],
)
def test_bme280_that_gives_no_value_says_why(chip: Registers, why: str) -> None:
    wait = _Waiting()
    with pytest.raises(SensorError, match=why):
        bme280.read(I2cBus({0x76: chip}, lambda: wait.now_ms), wait)
    assert wait.now_ms < 100


def test_bme280_that_is_not_there_is_no_answer() -> None:
    with pytest.raises(SensorError, match="no answer"):
        bme280.read(I2cBus({}, lambda: 0), _Waiting(), 0x77)
