"""The two 8-bit checks that the sensors send with their data."""

TYPE_CHECKING = False
if TYPE_CHECKING:
    from collections.abc import Iterable


def one_wire(data: "Iterable[int]") -> int:
    """1-Wire: X⁸+X⁵+X⁴+1, least significant bit first, from 0. Over data with its own check it is 0.

    A block of zeros passes too: whoever reads a bus refuses it for itself.
    """
    crc = 0
    for byte in data:
        crc ^= byte
        for _ in range(8):
            crc = (crc >> 1) ^ 0x8C if crc & 1 else crc >> 1
    return crc


def sensirion(data: "Iterable[int]") -> int:
    """Sensirion: X⁸+X⁵+X⁴+1, most significant bit first, from 0xFF."""
    crc = 0xFF
    for byte in data:
        crc ^= byte
        for _ in range(8):
            crc = ((crc << 1) ^ 0x31) & 0xFF if crc & 0x80 else crc << 1
    return crc
