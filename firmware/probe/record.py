"""One instant as bytes: what all heads measured at one time, packed for RTC memory and flash.

No check sum here: RTC memory and the spool each carry one of their own.
"""

import struct

# (wire name, unit, decimals sent, lowest, highest) as the host takes them. The index is what is stored:
# append, never reorder.
QUANTITIES = (
    ("soil_temperature", "Cel", 4, -127.0, 125.0),
    ("moisture_voltage", "V", 4, -0.5, 6.0),
    ("moisture", "/", 4, -0.5, 1.5),
    ("air_temperature", "Cel", 3, -127.0, 125.0),
    ("relative_humidity", "%RH", 2, -10.0, 130.0),
    ("rainfall", "mm", 2, 0.0, 1000.0),
    ("battery", "V", 3, -0.5, 60.0),
)
MOST_HEAD = 15
MOST_VALUES = 48

_VERSION = 1
_HEADER = "<BBBIIQQ"
_HEADER_BYTES = struct.calcsize(_HEADER)
_VALUE = "<Bf"
_VALUE_BYTES = struct.calcsize(_VALUE)
_INDEX = {quantity[0]: index for index, quantity in enumerate(QUANTITIES)}


class Instant:
    """What was measured at one time.

    `mark_ms` is the probe's own running time since the boot; `time_ms` is what the clock made of it when
    it was measured (ms since 1970), None before the first sync. `values` maps (head, wire name) to a
    number in the unit of QUANTITIES. `faults` counts the sensors that gave nothing.
    """

    def __init__(
        self,
        boot: int,
        sequence: int,
        mark_ms: int,
        time_ms: "int | None",
        values: "dict[tuple[int, str], float]",
        faults: int = 0,
    ) -> None:
        self.boot = boot
        self.sequence = sequence
        self.mark_ms = mark_ms
        self.time_ms = time_ms
        self.values = values
        self.faults = faults


def takes(head: int, quantity: str, value: float) -> bool:
    """Whether the host takes this value; one it refuses would cost the whole pack."""
    index = _INDEX.get(quantity)
    if index is None or not 0 <= head <= MOST_HEAD or not isinstance(value, (int, float)):
        return False
    return QUANTITIES[index][3] <= value <= QUANTITIES[index][4]  # False for NaN too


def pack(instant: Instant) -> bytes:
    """The instant as 27 bytes and 5 for each value."""
    values = instant.values
    data = bytearray(_HEADER_BYTES + _VALUE_BYTES * len(values))
    struct.pack_into(
        _HEADER,
        data,
        0,
        _VERSION,
        len(values),
        min(instant.faults, 255),
        instant.boot,
        instant.sequence,
        instant.mark_ms,
        instant.time_ms or 0,
    )
    at = _HEADER_BYTES
    for head, quantity in sorted(values):
        struct.pack_into(_VALUE, data, at, head << 4 | _INDEX[quantity], values[(head, quantity)])
        at += _VALUE_BYTES
    return bytes(data)


def identity(data: bytes) -> "tuple[int, int, int]":
    """Boot, sequence and mark [ms] of a packed instant. Raises ValueError."""
    if len(data) < _HEADER_BYTES or data[0] != _VERSION:
        raise ValueError("not an instant of this firmware")
    fields = struct.unpack_from(_HEADER, data, 0)
    return fields[3], fields[4], fields[5]


def unpack(data: bytes) -> Instant:
    """The instant that `pack` wrote. Raises ValueError for anything else."""
    identity(data)
    _, count, faults, boot, sequence, mark_ms, time_ms = struct.unpack_from(_HEADER, data, 0)
    if len(data) != _HEADER_BYTES + _VALUE_BYTES * count:
        raise ValueError("an instant of the wrong length")
    values = {}
    for at in range(_HEADER_BYTES, len(data), _VALUE_BYTES):
        code, value = struct.unpack_from(_VALUE, data, at)
        if code & 15 >= len(QUANTITIES):
            raise ValueError("an instant with an unknown quantity")
        values[(code >> 4, QUANTITIES[code & 15][0])] = value
    return Instant(boot, sequence, mark_ms, time_ms or None, values, faults)
