"""Volts and currents at the pins: what a pin may feed, what it may be shown, what a divider costs.

Sources
-------
* A pin at its strongest setting gives 40 mA at 2.64 V from a 3.3 V supply: Espressif, ESP32-PICO module
  manual, "DC characteristics", p. 10 (the ESP32-C3 data sheet's table of the same name agrees, from memory).
* ESP32-C3 analogue input: 0 to 2.5 V at the 11/12 dB setting: ESP-IDF Programming Guide for ESP32-C3,
  "ADC Attenuation".
* DS18B20: works from 3.0 V (data sheet, AC characteristics, heading); 1 mA while converting, 1.5 mA at most
  (from memory).
* Capacitive sensor: 5 mA, output up to 3.0 V (makers' product sheets for the common TLC555 board).
* SHT4x: 0.5 mA at most while measuring (from memory).
* AO3401: 85 mΩ at a gate voltage of −2.5 V (Alpha & Omega data sheet, rev. 6, p. 2).
"""

import math

from probe.boards import Board

SUPPLY_V = 3.3
LEAST_SUPPLY_V = 3.234
"""The regulator's output at its lowest: HT7833, ±2 % (Holtek HT78xx data sheet rev. 1.10, p. 1)."""
PIN_RESISTANCE_OHM = (3.3 - 2.64) / 0.040
SWITCH_RESISTANCE_OHM = 0.085
DS18B20_LEAST_V = 3.0
DS18B20_A = 0.0015
MOISTURE_SENSOR_A = 0.005
MOISTURE_SENSOR_MOST_V = 3.0
AIR_SENSOR_A = 0.0005
PIN_MOST_A = 0.040
CELL_FULL_V = 4.2
FILTER_F = 100e-9
"""C3 and C4, beside the measuring pins."""


def sensor_current_a(heads: int) -> float:
    """What all sensors of a probe draw together at most [A]."""
    return heads * (DS18B20_A + MOISTURE_SENSOR_A) + AIR_SENSOR_A


def sensor_supply_v(board: Board, heads: int) -> float:
    """What arrives at the sensors at worst, fed by the pin itself or through the MOSFET [V]."""
    feed_ohm = PIN_RESISTANCE_OHM if board.sensor_power_on else SWITCH_RESISTANCE_OHM
    return LEAST_SUPPLY_V - sensor_current_a(heads) * feed_ohm


def pin_v(shown_v: float, divider_ohm: tuple[int, int]) -> float:
    """What a pin sees of a voltage behind a divider (upper, lower) [V]."""
    upper_ohm, lower_ohm = divider_ohm
    return shown_v * lower_ohm / (upper_ohm + lower_ohm)


def settled_share(after_ms: float, divider_ohm: tuple[int, int]) -> float:
    """How much of a step at the sensor the pin has followed after so long."""
    upper_ohm, lower_ohm = divider_ohm
    tau_s = upper_ohm * lower_ohm / (upper_ohm + lower_ohm) * FILTER_F
    return 1 - math.exp(-after_ms / 1e3 / tau_s)


def divider_leak_ua(across_v: float, divider_ohm: tuple[int, int]) -> float:
    """What a divider draws all the time [µA]."""
    return across_v / sum(divider_ohm) * 1e6
