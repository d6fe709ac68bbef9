"""Packs: the SenML a probe publishes, read into readings and written from them.

Inside a pack names are `<head>/<quantity>`; `sequence`, `boot`, `oldest` and `battery` belong to the
instant. Records of one instant share one time.
"""

import re
from collections.abc import Iterable, Iterator, Mapping
from functools import lru_cache
from itertools import groupby
from typing import Any, NamedTuple

import msgspec
from msgspec import UNSET

from traywarden.domain.readings import (
    BOOT_UNNUMBERED,
    QUANTITIES,
    Quantity,
    Reading,
)
from traywarden.errors import WireError
from traywarden.wire import senml

MOST_HEAD = 15
"""Largest head number that is understood."""
MOST_COUNT = 2**53 - 1
"""Largest count that a JSON number carries exactly."""
COUNTS = ("sequence", "boot", "oldest")
"""Names that say which instant this is, not what was measured."""

_WITH_HEAD = re.compile(r"(\d|1[0-5])/(.+)")
_EXTRA_KEY = re.compile(r"([^\[]+)(?:\[(.*)\])?")
_EUI64 = re.compile(r"[0-9a-f]{16}")
_MAC = "urn:dev:mac:"
_COLUMN = {quantity.wire_name: index for index, quantity in enumerate(QUANTITIES)}
_EXTRA = len(QUANTITIES)
_BLANK: list[Any] = [None] * (_EXTRA + 1)
_OF_HEAD_1 = frozenset({"soil_temperature", "moisture_voltage", "moisture"})

# The same quantity in another size: (unit kept, unit sent) -> factor, offset.
_CONVERSIONS: Mapping[tuple[str, str], tuple[float, float]] = {
    ("Cel", "K"): (1.0, -273.15),
    ("V", "mV"): (1e-3, 0.0),
    ("mm", "m"): (1e3, 0.0),
    ("/", "/100"): (1e-2, 0.0),
}


class PackInfo(NamedTuple):
    """What a pack says of the probe's spool: for each boot in it, the lowest sequence still held.

    The lowest is None where the pack does not say. `boot` and `oldest` are those of the newest
    numbered instant; `boot` is None when the sensor sends no sequence.
    """

    boot: int | None
    oldest: int | None
    oldest_by_boot: Mapping[int, int | None]


class Receipt(NamedTuple):
    """Every sequence of the boot, from the oldest the probe said it holds through this one, is stored."""

    boot: int
    sequence: int


class TimeTold(NamedTuple):
    """What time it was when the probe's question (its number) reached the host."""

    asked: int
    time_ms: int


class _Slot(NamedTuple):
    """Where a record goes, told from its name alone."""

    device: str
    key: str
    head: int
    column: int | None
    is_count: bool


class _Instant:
    """What a pack says of one instant, while it is being read."""

    __slots__ = ("counts", "heads")

    def __init__(self) -> None:
        self.counts: dict[str, int] = {}
        self.heads: dict[int, list[Any]] = {}


def readings_from_pack(
    payload: bytes,
    probe: str,
    received_ms: int,
    *,
    most_bytes: int = senml.MOST_BYTES,
    most_records: int = senml.MOST_RECORDS,
) -> list[Reading]:
    """The readings in a pack, by time and head. Raises WireError; then nothing of the pack is used."""
    return read_pack(payload, probe, received_ms, most_bytes=most_bytes, most_records=most_records)[0]


def read_pack(
    payload: bytes,
    probe: str,
    received_ms: int,
    *,
    most_bytes: int = senml.MOST_BYTES,
    most_records: int = senml.MOST_RECORDS,
) -> tuple[list[Reading], PackInfo]:
    """The readings in a pack, and what it says of the probe's spool.

    Times relative to now count from `received_ms`. Instants without a sequence get BOOT_UNNUMBERED
    and their time as sequence. Text, flags and data under names of their own are passed over.
    """
    records = senml.decode(payload, received_ms / 1000, most_bytes=most_bytes, most_records=most_records)
    instants: dict[int, _Instant] = {}
    device = _slot(records[0].name).device if records else ""
    if device.startswith(_MAC) and _EUI64.fullmatch(probe) and device[12:28].lower() != probe:
        raise WireError(
            f"The pack comes from {device} but was sent on the topic of probe {probe}; correct the topic."
        )
    for record in records:
        slot = _slot(record.name)
        if slot.device != device:
            raise WireError(
                f"The pack holds records of two devices ({device or 'none'}, {slot.device or 'none'}); "
                "send one pack for each, on its own topic."
            )
        value = record.value
        if value is None:
            if slot.is_count or slot.column is not None:
                raise WireError(f"{record.name} holds no number; send it as v.")
            continue
        time_ms = round(record.time_s * 1000)
        instant = instants.get(time_ms)
        if instant is None:
            instant = instants[time_ms] = _Instant()
        if slot.is_count:
            _take_count(instant, slot.key, record, value)
        else:
            _take_value(instant, slot, record, value)
    if not instants:
        raise WireError("The pack holds no number; send at least one measured value.")
    return _readings(instants, probe, received_ms)


def pack_from_readings(
    readings: Iterable[Reading], *, oldest: int | None = None, device_urn: str | None = None
) -> bytes:
    """Write readings of one probe as a pack; `read_pack` gives the same readings back.

    A reading without any value is carried only as its sequence (so only where it is head 0, alone).
    `oldest` is the lowest sequence the probe still holds of the first boot in the pack. Raises WireError
    for what no pack can carry.
    """
    ordered = sorted(readings, key=lambda r: (r.time_ms, r.head))
    if len({r.probe for r in ordered}) > 1:
        raise WireError("Readings of several probes cannot share a pack; write one for each.")
    if any(not 0 <= r.head <= MOST_HEAD for r in ordered):
        raise WireError(f"Heads are numbered 0 to {MOST_HEAD}; number the probe's heads anew.")
    one_boot = len({r.boot for r in ordered if r.boot >= 0}) == 1
    rows: list[senml.Row] = []
    base_ms = ordered[0].time_ms if ordered else 0
    if (
        ordered
        and not senml.ABSOLUTE_FROM_S <= base_ms / 1000 <= ordered[-1].time_ms / 1000 <= senml.LATEST_S
    ):
        raise WireError("SenML carries times from 4 July 1978 to the year 9999; leave other readings out.")
    told = False
    for time_ms, group in groupby(ordered, key=lambda r: r.time_ms):
        heads = list(group)
        if len({(r.boot, r.sequence) for r in heads}) > 1:
            raise WireError(
                f"Two sequences at one time ({time_ms} ms) cannot share a pack; write them apart."
            )
        fields = list(_measured(heads))
        if heads[0].boot >= 0:
            fields.append(("sequence", "count", float(heads[0].sequence)))
            if not told or not one_boot:
                fields.append(("boot", "count", float(heads[0].boot)))
            if oldest is not None and not told:
                fields.append(("oldest", "count", float(oldest)))
            told = True
        offset_s = (time_ms - base_ms) / 1000
        rows += [senml.Row(n=n, u=u or UNSET, v=v, t=offset_s or UNSET) for n, u, v in fields]
    if rows:
        rows[0].bt = base_ms / 1000
    return senml.encode_rows(rows, f"{device_urn.rstrip(':')}:" if device_urn else "")


def write_receipt(receipt: Receipt) -> bytes:
    return msgspec.json.encode(receipt._asdict())


def write_time(told: TimeTold) -> bytes:
    return msgspec.json.encode(told._asdict())


def read_receipt(payload: bytes) -> Receipt:
    """The host's receipt as a probe reads it. Raises WireError."""
    try:
        said = msgspec.json.decode(payload, type=dict[str, int])
        return Receipt(said["boot"], said["sequence"])
    except (msgspec.DecodeError, UnicodeDecodeError, KeyError, RecursionError):
        raise WireError(
            f'The receipt {payload[:80]!r} cannot be read; it must be {{"boot": b, "sequence": n}}.'
        ) from None


@lru_cache(maxsize=4096)
def _slot(name: str) -> _Slot:
    device, _, local = name.rpartition(":")
    if local in COUNTS:
        return _Slot(device, local, 0, None, True)
    if (match := _WITH_HEAD.fullmatch(local)) is not None:
        return _Slot(device, match[2], int(match[1]), _COLUMN.get(match[2]), False)
    return _Slot(device, local, 1 if local in _OF_HEAD_1 else 0, _COLUMN.get(local), False)


def _take_count(instant: _Instant, key: str, record: senml.Record, value: float) -> None:
    if record.unit not in ("count", None) or not 0 <= value <= MOST_COUNT or value != int(value):
        raise WireError(
            f"{record.name} is {value:g} {record.unit or ''}; send a whole count from 0 to 2^53 − 1."
        )
    count = int(value)
    if instant.counts.setdefault(key, count) != count:
        raise WireError(
            f"{record.name} is both {instant.counts[key]} and {count} at one time "
            f"({record.time_s:.3f} s); give every instant a time of its own."
        )


def _take_value(instant: _Instant, slot: _Slot, record: senml.Record, value: float) -> None:
    row = instant.heads.get(slot.head)
    if row is None:
        row = instant.heads[slot.head] = _BLANK.copy()
    if slot.column is None:
        key = slot.key if record.unit is None else f"{slot.key}[{record.unit}]"
        extra = row[_EXTRA] = row[_EXTRA] or {}
        before = extra.setdefault(key, value)
    else:
        quantity = QUANTITIES[slot.column]
        if record.unit != quantity.wire_unit:
            value = _converted(quantity, record, value)
        if not quantity.lowest <= value <= quantity.highest:
            raise WireError(
                f"{record.name} is {value:g} {quantity.wire_unit}, and {quantity.says} lies between "
                f"{quantity.lowest:g} and {quantity.highest:g}; check the sensor."
            )
        before = row[slot.column]
        if before is None:
            before = row[slot.column] = value
    if before != value:
        raise WireError(
            f"{record.name} is both {before:g} and {value:g} at one time ({record.time_s:.3f} s); "
            "give every instant a time of its own."
        )


def _converted(quantity: Quantity, record: senml.Record, value: float) -> float:
    factor, offset = _CONVERSIONS.get((quantity.wire_unit, record.unit or ""), (None, 0.0))
    if factor is None:
        sent = f"in {record.unit!r}" if record.unit else "without a unit"
        raise WireError(f"{record.name} is sent {sent}; send {quantity.says} in {quantity.wire_unit!r}.")
    return value * factor + offset


def _readings(instants: dict[int, _Instant], probe: str, received_ms: int) -> tuple[list[Reading], PackInfo]:
    boots = {instant.counts["boot"] for instant in instants.values() if "boot" in instant.counts}
    only_boot = (boots.pop() if boots else 0) if len(boots) < 2 else None
    readings: list[Reading] = []
    times: dict[tuple[int, int], int] = {}
    oldest: dict[int, int | None] = {}
    newest_boot: int | None = None
    for time_ms, instant in sorted(instants.items()):
        counts, heads = instant.counts, instant.heads
        boot = counts.get("boot", only_boot)
        sequence = counts.get("sequence")
        if boot is None and (sequence is not None or "oldest" in counts):
            raise WireError("The pack holds several boots and an instant that does not say its own; send it.")
        if boot is not None and (held := counts.get("oldest")) is not None:
            oldest[boot] = held if (known := oldest.get(boot)) is None else min(held, known)
        if sequence is None or boot is None:
            boot, sequence = BOOT_UNNUMBERED, time_ms
        else:
            newest_boot = boot
            oldest.setdefault(boot, None)
            if times.setdefault((boot, sequence), time_ms) != time_ms:
                raise WireError(
                    f"Sequence {sequence} of boot {boot} stands at two times; number each instant."
                )
            if not heads:
                heads = {0: _BLANK}
        for head in sorted(heads):
            row = heads[head]
            extra = row[_EXTRA]
            if extra is not None:
                row[_EXTRA] = extra_text(extra)
            readings.append(Reading(probe, head, boot, sequence, time_ms, received_ms, *row))
    if not readings:
        raise WireError("The pack holds no number; send at least one measured value.")
    lowest = None if newest_boot is None else oldest[newest_boot]
    return readings, PackInfo(newest_boot, lowest, oldest)


def extra_text(extra: Mapping[str, float]) -> str:
    """Numbers there is no column for, as the text a Reading keeps: keys are `name` or `name[unit]`."""
    return msgspec.json.encode(dict(extra), order="sorted").decode("utf-8")


def _measured(heads: Iterable[Reading]) -> Iterator[tuple[str, str, float]]:
    """Name, unit and value of all that the heads measured at one instant."""
    for reading in heads:
        for quantity in QUANTITIES:
            value: float | None = getattr(reading, quantity.column)
            if value is None:
                continue
            if not quantity.lowest <= value <= quantity.highest:
                raise WireError(
                    f"{quantity.says} {value:g} of head {reading.head} cannot be sent: it must lie between "
                    f"{quantity.lowest:g} and {quantity.highest:g}; leave it out."
                )
            bare = reading.head == 0 and quantity.wire_name == "battery"
            name = quantity.wire_name if bare else f"{reading.head}/{quantity.wire_name}"
            yield name, quantity.wire_unit, value
        for key, value in (msgspec.json.decode(reading.extra) if reading.extra else {}).items():
            if (match := _EXTRA_KEY.fullmatch(key)) is not None:
                yield f"{reading.head}/{match[1]}", match[2] or "", float(value)
