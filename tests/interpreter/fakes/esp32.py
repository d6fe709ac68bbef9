"""What the firmware may use of MicroPython's `esp32`."""

TYPE_CHECKING = False
if TYPE_CHECKING:
    from typing import Any

WAKEUP_ALL_LOW, WAKEUP_ANY_HIGH = False, True


def wake_on_gpio(pins: "Any", level: "Any") -> None:
    pass


def wake_on_ext1(pins: "Any", level: "Any") -> None:
    pass


def gpio_deep_sleep_hold(hold: bool) -> None:
    pass


def mcu_temperature() -> int:
    return 21
