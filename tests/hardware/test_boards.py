"""Every pin in use is one that its chip lets be used that way."""

import pytest
from hardware.parts import parts

from drivers import capacitive
from hardware import levels
from probe.boards import BOARDS, DEFAULT, Board

# ESP-IDF Programming Guide v5.0 for ESP32-C3, “GPIO & RTC GPIO”, first table and its notes; “ADC Channels”
# in v4.4.2. https://docs.espressif.com/projects/esp-idf/en/v5.0.3/esp32c3/api-reference/peripherals/gpio.html
C3_STRAPPING = {2, 8, 9}
C3_FLASH = set(range(12, 18))
C3_USB = {18, 19}
C3_ADC1 = {0, 1, 2, 3, 4}
C3_ADC2 = {5}
C3_RTC = {0, 1, 2, 3, 4, 5}

every_board = pytest.mark.parametrize("board", BOARDS.values(), ids=BOARDS.keys())


def measured(board: Board) -> set[int]:
    return {*board.moisture, board.battery}


@every_board
def test_no_pin_decides_how_the_chip_starts_or_carries_flash_or_usb(board: Board) -> None:
    used = set(board.roles().values())
    assert not used & set(board.strapping)
    assert not used & set(board.flash)
    assert not used & set(board.usb)


@every_board
def test_voltages_are_measured_where_wifi_does_not_disturb(board: Board) -> None:
    assert measured(board) <= set(board.adc1)
    assert not measured(board) & set(board.adc2)


@every_board
def test_no_pin_has_two_tasks(board: Board) -> None:
    pins = list(board.roles().values())
    assert len(pins) == len(set(pins))


@every_board
def test_what_must_drive_is_not_an_input_only_pin(board: Board) -> None:
    driving = set(board.roles().values()) - measured(board)
    assert not driving & set(board.input_only)


def test_a_measuring_pin_of_the_c3_is_not_the_consoles() -> None:
    # GPIO20 receives on the console: a select pin there would type into the prompt. GPIO21 only sends.
    for name in ("esp32-c3", "esp32-c3-four"):
        assert 20 not in BOARDS[name].roles().values()


@pytest.mark.parametrize("name", ["esp32-c3", "esp32-c3-four"])
def test_the_c3s_table_is_espressifs(name: str) -> None:
    board = BOARDS[name]
    assert set(board.strapping) == C3_STRAPPING
    assert set(board.flash) >= C3_FLASH
    assert set(board.usb) == C3_USB
    assert set(board.adc1) == C3_ADC1
    assert set(board.adc2) == C3_ADC2
    assert set(board.wake_capable) == C3_RTC


def test_the_default_is_the_small_c3() -> None:
    assert BOARDS[DEFAULT].chip == "ESP32-C3"
    assert {name: board.most_heads for name, board in BOARDS.items()} == {
        "esp32-c3": 2,
        "esp32-c3-four": 4,
        "esp32-s3": 4,
        "esp32": 4,
    }


@every_board
def test_sensors_get_the_three_volts_they_need_with_all_heads_on(board: Board) -> None:
    assert levels.sensor_supply_v(board, board.most_heads) >= levels.DS18B20_LEAST_V
    if board.sensor_power_on:
        assert levels.sensor_current_a(board.most_heads) < levels.PIN_MOST_A


def test_a_pin_alone_could_not_feed_four_heads() -> None:
    assert levels.sensor_supply_v(BOARDS["esp32-c3"], 4) < levels.DS18B20_LEAST_V


@every_board
def test_a_pin_is_shown_no_more_than_it_measures(board: Board) -> None:
    assert levels.pin_v(levels.MOISTURE_SENSOR_MOST_V, board.moisture_divider_ohm) <= board.adc_most_v
    assert levels.pin_v(levels.CELL_FULL_V, board.battery_divider_ohm) <= board.adc_most_v


def test_the_pin_has_followed_before_it_is_read() -> None:
    """To a thousandth of the step: after sensors get power, and after the switch chose another sensor."""
    board = BOARDS["esp32-c3-four"]
    assert levels.settled_share(board.mux_settle_ms, board.moisture_divider_ohm) > 0.999
    assert levels.settled_share(capacitive.SETTLE_MS, board.moisture_divider_ohm) > 0.999
    assert {part.generic_number for part in parts() if set(part.refs) & {"C3", "C4"}} == {"100 nF"}
    assert pytest.approx(100e-9) == levels.FILTER_F


@every_board
def test_the_scales_undo_the_dividers(board: Board) -> None:
    assert levels.pin_v(3.0, board.moisture_divider_ohm) * board.moisture_scale == pytest.approx(3.0)
    assert levels.pin_v(4.2, board.battery_divider_ohm) * board.battery_scale == pytest.approx(4.2)
