"""Instants as a SenML pack (RFC 8428), as docs/wire.md has it. Written piece by piece: no tree in memory.

Times are whole milliseconds: a board's floats have 24 bits, too few for a date.
"""

from probe.record import QUANTITIES, Instant

_OF = {quantity[0]: quantity for quantity in QUANTITIES}


def device_name(mac: bytes) -> str:
    """`urn:dev:mac:` name (RFC 9039) of a 6-byte MAC address, widened to EUI-64 as IEEE has it."""
    wide = mac if len(mac) == 8 else mac[:3] + b"\xff\xfe" + mac[3:]
    return "urn:dev:mac:%s:" % "".join(["%02x" % byte for byte in wide])


def encode(
    instants: "list[Instant]",
    times_ms: "list[int]",
    absolute: bool,
    oldest: "int | None" = None,
    device: str = "",
    unsure: bool = False,
) -> bytes:
    """A pack of instants of one boot, in the order of their sequence.

    `times_ms`: ms since 1970 where `absolute`, else ms from the moment of sending (negative: before).
    `oldest` is the lowest sequence of this boot that the probe holds. `unsure` tells the host that the
    times may be out by more than half a minute.
    """
    out = bytearray(b"[")
    base_ms = times_ms[0] if absolute else 0
    before_ms = None
    for index, instant in enumerate(instants):
        time_ms = times_ms[index]
        if before_ms is not None and time_ms <= before_ms:
            time_ms = before_ms + 1  # the host refuses two sequences at one time
        before_ms = time_ms
        when = ',"t":%s}' % _seconds(time_ms - base_ms) if time_ms != base_ms else "}"
        out += b"{"
        if index == 0:
            if device:
                out += ('"bn":"%s",' % device).encode()
            if absolute:
                out += ('"bt":%s,' % _seconds(base_ms)).encode()
        out += ('"n":"sequence","u":"count","v":%d%s' % (instant.sequence, when)).encode()
        if index == 0:
            out += (',{"n":"boot","u":"count","v":%d%s' % (instant.boot, when)).encode()
            if oldest is not None:
                out += (',{"n":"oldest","u":"count","v":%d%s' % (oldest, when)).encode()
        if unsure:
            out += (',{"n":"0/time_unsure","v":1%s' % when).encode()
        if instant.faults:
            out += (',{"n":"0/faults","u":"count","v":%d%s' % (instant.faults, when)).encode()
        for head, name in sorted(instant.values):
            _, unit, decimals, _, _ = _OF[name]
            said = name if name == "battery" and head == 0 else "%d/%s" % (head, name)
            value = _number(instant.values[(head, name)], decimals)
            out += (',{"n":"%s","u":"%s","v":%s%s' % (said, unit, value, when)).encode()
        out += b"," if index + 1 < len(instants) else b"]"
    return bytes(out)


def _seconds(ms: int) -> str:
    sign = "-" if ms < 0 else ""
    whole, rest = abs(ms) // 1000, abs(ms) % 1000
    return "%s%d.%03d" % (sign, whole, rest) if rest else "%s%d" % (sign, whole)


def _number(value: float, decimals: int) -> str:
    text = ("%." + str(decimals) + "f") % value
    text = text.rstrip("0").rstrip(".")
    return "0" if text == "-0" else text
