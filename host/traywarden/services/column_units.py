"""Units as people write them in headers, and what each becomes inside; converted once, at the edge."""

from dataclasses import dataclass

from traywarden.domain.readings import BY_COLUMN
from traywarden.domain.units import MM_PER_INCH


@dataclass(frozen=True, slots=True)
class Scale:
    """inside = text number × factor + offset."""

    factor: float
    offset: float = 0.0


_SAME = Scale(1.0)
_TEMPERATURE = {"°C": _SAME, "°F": Scale(5 / 9, -160 / 9), "K": Scale(1.0, -273.15)}
_FRACTION = {"m³/m³": _SAME, "fraction": _SAME, "%": Scale(0.01), "volume %": Scale(0.01)}
_VOLTS = {"V": _SAME, "mV": Scale(0.001)}
_LENGTH = {"mm": _SAME, "cm": Scale(10.0), "in": Scale(MM_PER_INCH)}
UNITS: dict[str, dict[str, Scale]] = {
    "soil_temp_c": _TEMPERATURE,
    "air_temp_c": _TEMPERATURE,
    "moisture_m3_m3": _FRACTION,
    "moisture_v": _VOLTS,
    "battery_v": _VOLTS,
    "rh_pct": {"%": _SAME, "fraction": Scale(100.0)},
    "rain_mm": _LENGTH,
}
"""Units each quantity may come in; the first is the one used inside."""

_ALIASES = {
    "c": "°C",
    "degc": "°C",
    "deg c": "°C",
    "celsius": "°C",
    "℃": "°C",
    "ºc": "°C",
    "f": "°F",
    "degf": "°F",
    "deg f": "°F",
    "fahrenheit": "°F",
    "℉": "°F",
    "ºf": "°F",
    "kelvin": "K",
    "pct": "%",
    "percent": "%",
    "%rh": "%",
    "% rh": "%",
    "rh%": "%",
    "vol%": "volume %",
    "vol %": "volume %",
    "%vwc": "volume %",
    "% vwc": "volume %",
    "m3/m3": "m³/m³",
    "m3_m3": "m³/m³",
    "m^3/m^3": "m³/m³",
    "m3 m-3": "m³/m³",
    "cm3/cm3": "m³/m³",
    "volt": "V",
    "volts": "V",
    "millivolt": "mV",
    "millivolts": "mV",
    "inch": "in",
    "inches": "in",
    '"': "in",
    "millimetre": "mm",
    "millimeter": "mm",
    "millimetres": "mm",
    "millimeters": "mm",
}
_KNOWN = {unit.casefold(): unit for units in UNITS.values() for unit in units}


def unit_named(text: str) -> str | None:
    """The unit a text means (“degC” → “°C”), or None when it is none that is known."""
    key = text.strip().casefold()
    return _KNOWN.get(key) or _ALIASES.get(key)


def scale_for(quantity: str, unit: str) -> Scale | str:
    """How numbers in that unit become the quantity; a sentence when they cannot."""
    fitting = UNITS[quantity]
    known = unit_named(unit)
    if known is not None and known in fitting:
        return fitting[known]
    says = BY_COLUMN[quantity].says
    return f"unit “{unit}” does not fit {quantity} ({says}); use one of {', '.join(fitting)}"
