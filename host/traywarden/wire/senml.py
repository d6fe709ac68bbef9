"""SenML JSON (RFC 8428): packs of sensor records, decoded to their resolved form and encoded from it.

Typed structs read what nearly every pack holds in one pass. Only a pack with a field of another name, an
escaped character or a doubled key takes the slower way that looks at every token.
"""

import base64
import binascii
import json
import math
import re
from collections.abc import Iterable, Sequence
from functools import lru_cache
from typing import Any, NoReturn, TypeVar

import msgspec
from msgspec import UNSET, UnsetType

from traywarden.errors import WireError

VERSION = 10
ABSOLUTE_FROM_S = 2.0**28
"""Times below this are relative to now; from here on they are seconds since 1970 (RFC 8428 §4.5.3)."""
LATEST_S = 253_402_300_799.0
"""The last second of the year 9999: the farthest time calendars here can hold."""
MOST_BYTES = 262_144
MOST_RECORDS = 10_000
MOST_DEPTH = 16
"""How deep fields that are not ours may nest; SenML itself needs two levels."""

_NAME = re.compile(r"[A-Za-z0-9][A-Za-z0-9:./_-]*")
_DATA = re.compile(r"[A-Za-z0-9_-]*")
# The closing quote is optional: an unclosed string is swallowed once, not tried again from every quote in it.
_TOKEN = re.compile(rb'"[^"\\]*+(?:\\.?[^"\\]*+)*+"?|[\[\]{}]', re.DOTALL)
_AT = re.compile(r" - at `\$\[(\d+)\](?:\.(\w+))?`")

_T = TypeVar("_T")


class Row(msgspec.Struct, gc=False):
    """A record as it is written."""

    bn: str | UnsetType = UNSET
    bt: float | UnsetType = UNSET
    bu: str | UnsetType = UNSET
    bv: float | UnsetType = UNSET
    bs: float | UnsetType = UNSET
    bver: int | UnsetType = UNSET
    n: str | UnsetType = UNSET
    u: str | UnsetType = UNSET
    v: float | UnsetType = UNSET
    vs: str | UnsetType = UNSET
    vb: bool | UnsetType = UNSET
    vd: str | UnsetType = UNSET
    s: float | UnsetType = UNSET
    t: float | UnsetType = UNSET
    ut: float | UnsetType = UNSET


class _StrictRow(Row, gc=False, forbid_unknown_fields=True):
    pass


_FIELDS = frozenset(Row.__struct_fields__)
_strict = msgspec.json.Decoder(list[_StrictRow])
_lenient = msgspec.json.Decoder(list[Row])
_encoder = msgspec.json.Encoder()


class Record(msgspec.Struct, frozen=True, gc=False):
    """One resolved record (RFC 8428 §4.6): nothing is left to look up in the records before it.

    `time_s` is always absolute; `relative_s` says how it was sent when it was relative to now
    (0.0: no time at all). Of `value`, `text`, `flag` and `data` at most one is set.
    """

    name: str
    time_s: float
    unit: str | None = None
    value: float | None = None
    text: str | None = None
    flag: bool | None = None
    data: bytes | None = None
    sum: float | None = None
    update_s: float | None = None
    relative_s: float | None = None
    version: int = VERSION


def decode(  # noqa: PLR0912 (one pass without calls: this is the hot path of ingest)
    payload: bytes, now_s: float, *, most_bytes: int = MOST_BYTES, most_records: int = MOST_RECORDS
) -> list[Record]:
    """Read a pack and resolve it: one Record per measurement, in order of time.

    `now_s` (seconds since 1970) is what relative times count from: when the pack was received.
    Raises WireError, in one sentence, for anything that is not SenML of version 10 or lower.
    """
    base_name, base_time_s, version = "", 0.0, VERSION
    base_unit: str | None = None
    base_value: float | None = None
    base_sum: float | None = None
    records: list[Record] = []
    in_order, before_s = True, -math.inf
    for number, row in enumerate(_rows(payload, most_bytes, most_records), 1):
        if row.bn is not UNSET:
            base_name = row.bn
        if row.bt is not UNSET:
            base_time_s = row.bt
        if row.bu is not UNSET:
            base_unit = row.bu
        if row.bv is not UNSET:
            base_value = row.bv
        if row.bs is not UNSET:
            base_sum = row.bs
        if row.bver is not UNSET:
            version = _version(row.bver, version, number)
        value: float | None = None
        total: float | None = None
        if row.vs is UNSET and row.vb is UNSET and row.vd is UNSET:
            if row.v is UNSET and row.s is UNSET and _only_bases(row, number):
                continue
            value = _added(base_value, row.v, "v", number)
            total = _added(base_sum, row.s, "s", number)
            if value is None and total is None:
                raise WireError(f"Record {number}: holds no value; send one of v, vs, vb, vd or s.")
        else:
            _check_one_value(row, number)
            total = _known(row.s)
        name = base_name if row.n is UNSET else base_name + row.n
        if not _name_fits(name):
            _refuse_name(name, number)
        time_s = base_time_s if row.t is UNSET else base_time_s + row.t
        relative_s = None
        if time_s < ABSOLUTE_FROM_S:
            relative_s = time_s
            time_s += now_s
        if not 0.0 <= time_s <= LATEST_S:
            raise WireError(
                f"Record {number} ({name}): its time lies outside the years 1970 to 9999; "
                "set the sensor's clock."
            )
        in_order = in_order and time_s >= before_s
        before_s = time_s
        records.append(
            Record(
                name,
                time_s,
                base_unit if row.u is UNSET else row.u,
                value,
                _known(row.vs),
                _known(row.vb),
                None if row.vd is UNSET else _bytes(row.vd, number),
                total,
                _known(row.ut),
                relative_s,
                version,
            )
        )
    if not in_order:
        records.sort(key=_time_s)
    return records


def encode(records: Iterable[Record], *, base_name: str = "") -> bytes:
    """Write resolved records as a pack; `base_name` is written once and left off the names.

    A record that was relative to now stays so. Raises WireError for what could not be read back.
    """
    return encode_rows([_row(r, number, base_name) for number, r in enumerate(records, 1)], base_name)


def encode_rows(rows: Sequence[Row], base_name: str = "") -> bytes:
    """Write rows as they stand, the base name on the first; WireError when there are none."""
    if not rows:
        raise WireError("A pack without records cannot be written; give it at least one.")
    if base_name:
        rows[0].bn = base_name
    return _encoder.encode(rows)


def resolved(record: Record) -> dict[str, Any]:
    """A record under the labels of RFC 8428, as its section 4.6 has resolved records printed."""
    row: dict[str, Any] = {"n": record.name, "u": record.unit}
    row["bver"] = None if record.version == VERSION else record.version
    row["t"] = None if record.relative_s == 0.0 else record.time_s
    row |= {"v": record.value, "vs": record.text, "vb": record.flag, "s": record.sum, "ut": record.update_s}
    row["vd"] = None if record.data is None else _base64(record.data)
    return {label: value for label, value in row.items() if value is not None}


def _row(record: Record, number: int, base_name: str) -> Row:
    where = f"Record {number} ({record.name})"
    sent_s = record.time_s if record.relative_s is None else record.relative_s
    if not _name_fits(record.name):
        _refuse_name(record.name, number)
    if not record.name.startswith(base_name):
        raise WireError(f"{where}: its name does not begin with {base_name!r}; leave the base name off.")
    if not all(
        math.isfinite(x) for x in (record.value, record.sum, record.update_s, sent_s) if x is not None
    ):
        raise WireError(f"{where}: holds a number that is not finite; leave it out.")
    if record.relative_s is None and not ABSOLUTE_FROM_S <= sent_s <= LATEST_S:
        raise WireError(
            f"{where}: SenML cannot carry the time {sent_s:.15g} s; "
            f"use one from {ABSOLUTE_FROM_S:.0f} s (4 July 1978) to the year 9999."
        )
    row = Row(
        n=record.name[len(base_name) :] or UNSET,
        u=_sent(record.unit),
        v=_sent(record.value),
        vs=_sent(record.text),
        vb=_sent(record.flag),
        vd=UNSET if record.data is None else _base64(record.data),
        s=_sent(record.sum),
        t=sent_s or UNSET,
        ut=_sent(record.update_s),
        bver=UNSET if record.version == VERSION else record.version,
    )
    if row.v is UNSET and row.s is UNSET and row.vs is UNSET and row.vb is UNSET and row.vd is UNSET:
        raise WireError(f"{where}: holds no value; leave the record out.")
    _check_one_value(row, number)
    return row


@lru_cache(maxsize=4096)
def _name_fits(name: str) -> bool:
    return _NAME.fullmatch(name) is not None


def _refuse_name(name: str, number: int) -> NoReturn:
    if not name:
        raise WireError(f"Record {number}: has no name; send n, or bn in a record before it.")
    raise WireError(
        f"Record {number}: the name {name[:80]!r} is not allowed; use A–Z, a–z, 0–9 and - : . / _, "
        "beginning with a letter or digit."
    )


def _version(sent: int, so_far: int, number: int) -> int:
    if not 1 <= sent <= VERSION:
        raise WireError(f"Record {number}: SenML version {sent} is not understood; send version {VERSION}.")
    if number > 1 and sent != so_far:
        raise WireError(
            f"Record {number}: says version {sent} after {so_far}; send one version in the whole pack."
        )
    return sent


def _only_bases(row: Row, number: int) -> bool:
    """Whether a record without a value of its own is there to carry base fields only."""
    if row.n is not UNSET or row.u is not UNSET or row.t is not UNSET or row.ut is not UNSET:
        return False
    bases = (row.bn, row.bt, row.bu, row.bv, row.bs, row.bver)
    if all(base is UNSET for base in bases):
        raise WireError(f"Record {number}: is empty; leave it out.")
    return True


def _check_one_value(row: Row, number: int) -> None:
    if (row.v is not UNSET) + (row.vs is not UNSET) + (row.vb is not UNSET) + (row.vd is not UNSET) > 1:
        raise WireError(f"Record {number}: holds more than one value; send one of v, vs, vb, vd.")


def _added(base: float | None, own: float | UnsetType, field: str, number: int) -> float | None:
    if base is None:
        return None if own is UNSET else own
    total = base if own is UNSET else base + own
    if not math.isfinite(total):
        raise WireError(f"Record {number}: b{field} + {field} is not a finite number; send smaller ones.")
    return total


def _bytes(text: str, number: int) -> bytes:
    try:
        if _DATA.fullmatch(text):
            return base64.urlsafe_b64decode(text + "=" * (-len(text) % 4))
    except binascii.Error:
        pass
    raise WireError(f"Record {number}: vd is not base64url without padding; encode it as RFC 4648 §5 says.")


def _base64(data: bytes) -> str:
    return base64.urlsafe_b64encode(data).rstrip(b"=").decode("ascii")


def _time_s(record: Record) -> float:
    return record.time_s


def _known(value: _T | UnsetType) -> _T | None:
    return None if value is UNSET else value


def _sent(value: _T | None) -> _T | UnsetType:
    return UNSET if value is None else value


def _rows(payload: bytes, most_bytes: int, most_records: int) -> Sequence[Row]:
    """The records as sent, every bound checked."""
    if len(payload) > most_bytes:
        raise WireError(
            f"The pack is {len(payload)} bytes long and at most {most_bytes} are read; "
            "send fewer records at a time."
        )
    if payload.count(b"{") > most_records:
        _check_nesting(payload, most_records)
    try:
        rows: Sequence[Row] = _strict.decode(payload)
        # Every key leaves one colon, and so does every colon inside text. Where nothing is escaped,
        # the same pack written anew has the same number of them unless a key stood twice.
        if b"\\" in payload or _encoder.encode(rows).count(b":") != payload.count(b":"):
            _check_keys(payload, most_records)
    except (msgspec.DecodeError, UnicodeDecodeError) as error:
        if "unknown field" not in str(error):
            raise WireError(_why(error)) from None
        rows = _slow_rows(payload, most_records)
    if not rows:
        raise WireError("The pack holds no records; send at least one.")
    return rows


def _slow_rows(payload: bytes, most_records: int) -> Sequence[Row]:
    _check_keys(payload, most_records)
    try:
        return _lenient.decode(payload)
    except (msgspec.DecodeError, UnicodeDecodeError) as error:
        raise WireError(_why(error)) from None


def _check_nesting(payload: bytes, most_records: int) -> None:
    """Bound depth and records by brackets alone, before anything is built from them."""
    depth = records = 0
    for token in _TOKEN.finditer(payload):
        mark = token[0]
        if mark in b"[{":
            depth += 1
            records += depth == 2
            if depth > MOST_DEPTH:
                raise WireError(f"The pack nests deeper than {MOST_DEPTH} levels; send plain SenML records.")
            if records > most_records:
                raise WireError(
                    f"The pack holds more than {most_records} records; send fewer records at a time."
                )
        elif mark in b"]}":
            depth -= 1


def _check_keys(payload: bytes, most_records: int) -> None:
    """Refuse doubled keys, and fields that the sender says must be understood (ending in “_”)."""
    _check_nesting(payload, most_records)
    try:
        pack = json.loads(payload.decode("utf-8"), object_pairs_hook=_Pairs, parse_int=float)
    except (ValueError, RecursionError) as error:
        raise WireError(f"The pack is not JSON ({error}); send a SenML JSON array.") from None
    for number, record in enumerate(pack if type(pack) is list else [], 1):
        keys = [key for key, _ in record] if isinstance(record, _Pairs) else []
        for key in keys:
            if key not in _FIELDS and key.endswith("_"):
                raise WireError(
                    f"Record {number}: the field {key[:80]!r} must be understood to read it and is not; "
                    "leave it out."
                )
        if len(set(keys)) != len(keys):
            raise WireError(f"Record {number}: a field stands twice; send each once.")


class _Pairs(list[tuple[str, Any]]):
    """A JSON object as its pairs in order, so that a doubled key can be seen."""


def _why(error: Exception) -> str:
    """A decoder's complaint as one sentence that names the record and the field."""
    text = str(error)
    at = _AT.search(text)
    if at is None:
        return f"The pack is not SenML JSON ({text[:120]}); send an array of records."
    field = f" field {at[2]}" if at[2] else ""
    complaint = text[: at.start()].replace("`", "")
    complaint = complaint[:1].lower() + complaint[1:120]
    return f"Record {int(at[1]) + 1}:{field} cannot be read ({complaint}); correct it at the sender."
