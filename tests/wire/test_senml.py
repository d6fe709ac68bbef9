"""SenML decode and encode, against RFC 8428's own examples and against whatever may come in."""

import json
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.shared_data import reference_file
from traywarden.errors import WireError
from traywarden.wire import senml
from traywarden.wire.senml import Record, decode, encode, resolved

NOW_S = 1_760_000_000.0


def examples() -> list[dict[str, Any]]:
    found: list[dict[str, Any]] = json.loads(reference_file("senml_examples.json").read_text())["examples"]
    return found


def sent(*records: object) -> bytes:
    return json.dumps(records).encode()


@pytest.mark.data
def test_every_example_of_the_rfc_resolves_to_the_form_its_section_4_6_asks_for() -> None:
    # RFC 8428 §5.1; resolved forms: printed in §5.1.4, others by §4.6 (sorted, bver kept). Exact: the only
    # arithmetic is bt + t, which both sides round alike.
    assert len(examples()) == 10
    for example in examples():
        records = decode(json.dumps(example["pack"]).encode(), NOW_S)
        assert [resolved(r) for r in records] == example["resolved"], example["section"]


@pytest.mark.data
def test_resolved_examples_read_back_as_they_are() -> None:
    """Resolving what is resolved changes nothing (RFC 8428 §4.6)."""
    for example in examples():
        records = decode(json.dumps(example["resolved"]).encode(), NOW_S)
        assert [resolved(r) for r in records] == example["resolved"], example["section"]
        assert decode(encode(records), NOW_S) == records


@pytest.mark.parametrize(
    ("sent_s", "time_s", "relative_s"),
    [
        (0.0, NOW_S, 0.0),
        (-3600.0, NOW_S - 3600.0, -3600.0),
        (60.0, NOW_S + 60.0, 60.0),
        (268_435_455.5, NOW_S + 268_435_455.5, 268_435_455.5),  # RFC 8428 §4.5.3: below 2**28 is relative
        (268_435_456.0, 268_435_456.0, None),  # and from 2**28 on it is absolute
        (253_402_300_799.0, 253_402_300_799.0, None),
    ],
)
def test_times_below_two_to_the_28_are_relative_to_now(
    sent_s: float, time_s: float, relative_s: float | None
) -> None:
    (record,) = decode(sent({"n": "x", "v": 1, "t": sent_s}), NOW_S)
    assert (record.time_s, record.relative_s) == (time_s, relative_s)
    (record,) = decode(sent({"bt": sent_s, "n": "x", "v": 1}), NOW_S)
    assert (record.time_s, record.relative_s) == (time_s, relative_s)


def test_base_value_and_base_sum_are_added_and_a_missing_one_counts_as_zero() -> None:
    records = decode(
        sent({"bn": "a", "bv": 20, "bs": 100, "v": 1.5, "s": 1}, {"n": "b"}, {"n": "c", "vs": "x", "s": 2}),
        1.0,
    )
    assert [(r.name, r.value, r.sum, r.text) for r in records] == [
        ("a", 21.5, 101.0, None),
        ("ab", 20.0, 100.0, None),
        ("ac", None, 2.0, "x"),
    ]


def test_a_sum_alone_is_a_record_and_update_time_is_kept() -> None:
    (record,) = decode(sent({"n": "meter", "u": "J", "s": 7, "ut": 60}), NOW_S)
    assert (record.value, record.sum, record.update_s) == (None, 7.0, 60.0)


def test_records_come_out_in_order_of_time_and_keep_their_order_within_one_time() -> None:
    records = decode(
        sent({"bt": 1.7e9, "n": "b", "v": 1}, {"n": "a", "v": 2, "t": -5}, {"n": "c", "v": 3}), NOW_S
    )
    assert [r.name for r in records] == ["a", "b", "c"]


def test_unknown_fields_are_ignored_even_when_they_nest() -> None:
    (record,) = decode(b'[{"n":"x","v":1,"zz":{"deep":[1,{"n":"y","q_":1,"q_":2}]},"_a":0}]', 1.0)
    assert (record.name, record.value) == ("x", 1.0)


def test_escaped_text_is_read_the_slower_way_with_the_same_result() -> None:
    (record,) = decode(b'[{"\\u006e":"x\\u003ay","vs":"\\"v\\":\\\\ {}[]\\u00e9"}]', 1.0)
    assert (record.name, record.text) == ("x:y", '"v":\\ {}[]é')


@pytest.mark.parametrize(
    ("payload", "words"),
    [
        (b"", "not SenML JSON"),
        (b"\xff\xfe", "not SenML JSON"),
        (b"{}", "not SenML JSON"),
        (b"[]", "holds no records"),
        (b"[[]]", "Record 1"),
        (b"[{}]", "Record 1: is empty"),
        (b'[{"n":"x"}]', "Record 1: holds no value"),
        (b'[{"v":1}]', "Record 1: has no name"),
        (b'[{"n":"","v":1}]', "Record 1: has no name"),
        (b'[{"n":"a","v":1},{"n":"-x","v":1}]', "Record 2: the name '-x' is not allowed"),
        (b'[{"n":"a b","v":1}]', "is not allowed"),
        ('[{"n":"wärme","v":1}]'.encode(), "is not allowed"),
        (b'[{"n":"a\\n","v":1}]', "is not allowed"),
        (b'[{"n":"x","v":1,"vb":true}]', "more than one value"),
        (b'[{"n":"x","vs":"a","vd":"YQ"}]', "more than one value"),
        (b'[{"n":"x","v":"1"}]', "Record 1: field v cannot be read"),
        (b'[{"n":"x","v":null}]', "Record 1: field v cannot be read"),
        (b'[{"n":"x","v":true}]', "Record 1: field v cannot be read"),
        (b'[{"n":"x","v":NaN}]', "not SenML JSON"),
        (b'[{"n":"x","v":Infinity}]', "not SenML JSON"),
        (b'[{"n":"x","v":1e999}]', "Record 1: field v cannot be read"),
        (b'[{"n":"x","v":1' + b"0" * 400 + b"}]", "Record 1: field v cannot be read"),
        (b'[{"bn":"x","bv":1e308,"v":1e308}]', "not a finite number"),
        (b'[{"n":"x","v":1,"t":-1e12}]', "outside the years 1970 to 9999"),
        (b'[{"n":"x","v":1,"t":1e12}]', "outside the years 1970 to 9999"),
        (b'[{"bt":1e308,"n":"x","v":1,"t":1e308}]', "outside the years 1970 to 9999"),
        (b'[{"n":"x","v":1,"must_":1}]', "'must_' must be understood"),
        (b'[{"n":"x","v":1,"a":{"b_":1},"\\u0063_":1}]', "'c_' must be understood"),
        (b'[{"n":"x","v":1,"v":2}]', "stands twice"),
        (b'[{"n":"x","v":1,"zz":1,"zz":2}]', "stands twice"),
        (b'[{"n":"x","vs":"a:b","vs":"a"}]', "stands twice"),
        (b'[{"n":"x","v":1,"\\u0076":2}]', "stands twice"),
        (b'[{"n":"x","vd":"a"}]', "vd is not base64url"),
        (b'[{"n":"x","vd":"a+b/"}]', "vd is not base64url"),
        (b'[{"n":"x","vd":"YQ=="}]', "vd is not base64url"),
        (b'[{"bver":11,"n":"x","v":1}]', "version 11 is not understood"),
        (b'[{"bver":0,"n":"x","v":1}]', "version 0 is not understood"),
        (b'[{"bver":5,"n":"x","v":1},{"bver":6,"n":"x","v":1}]', "says version 6 after 5"),
        (b'[{"n":"x","v":1},{"bver":5,"n":"x","v":1}]', "says version 5 after 10"),
        (b'[{"n":"x","v":1}] []', "not SenML JSON"),
        (b'[{"n":"x","v":1,"zz":"\xff"}]', "not JSON"),
        (b'[{"n":"x","vs":"\\ud800"}]', "not SenML JSON"),
    ],
)
def test_what_is_not_senml_is_refused_in_one_sentence(payload: bytes, words: str) -> None:
    with pytest.raises(WireError) as caught:
        decode(payload, NOW_S)
    assert words in str(caught.value)
    assert str(caught.value).endswith(".")
    assert "\n" not in str(caught.value)


def test_bytes_records_and_depth_are_bounded() -> None:
    record = b'{"n":"x","v":1},'
    pack = b"[" + record * 20 + b'{"n":"x","v":1}]'
    assert len(decode(pack, NOW_S, most_records=21)) == 21
    with pytest.raises(WireError, match="more than 20 records"):
        decode(pack, NOW_S, most_records=20)
    with pytest.raises(WireError, match="at most 300 are read"):
        decode(pack, NOW_S, most_bytes=300)
    braces = b'[{"n":"x","vs":"{{{{{{{{{{{{{{{{{{{{{"}]'  # text is no record
    assert decode(braces, NOW_S, most_records=2)[0].text == "{" * 21
    inside = senml.MOST_DEPTH - 2
    assert decode(b'[{"n":"x","v":1,"z":' + b"[" * inside + b"]" * inside + b"}]", NOW_S)
    with pytest.raises(WireError, match="deeper than 16"):
        decode(b'[{"n":"x","v":1,"z":' + b"[" * (inside + 1) + b"]" * (inside + 1) + b"}]", NOW_S)


@pytest.mark.parametrize(
    "payload",
    [
        b"[" * 200_000,
        b'[{"a":' * 40_000,
        b'[{"n":"x","v":1,"z":' + b"[" * 100_000 + b"]" * 100_000 + b"}]",
        b'[{"n":"x","v":1,"z":"' + b'\\"' * 100_000,
        b'[{"z":' + b"9" * 200_000 + b"}]",
        b'[{"n":"' + b"x" * 200_000,
        b"[" + b"{}," * 80_000 + b"{}]",
    ],
)
def test_hostile_shapes_are_refused_without_running_away(payload: bytes) -> None:
    with pytest.raises(WireError):
        decode(payload, NOW_S)


def test_ten_mebibytes_are_refused_by_their_length_alone() -> None:
    with pytest.raises(WireError, match="at most 262144"):
        decode(b"[" * 10 * 2**20, NOW_S)


@given(st.binary(max_size=200))
def test_arbitrary_bytes_raise_nothing_but_wire_errors(payload: bytes) -> None:
    with pytest.raises(WireError):
        decode(payload, NOW_S)


json_values = st.recursive(
    st.none() | st.booleans() | st.floats() | st.integers() | st.text(max_size=5),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=3), inner, max_size=3),
    max_leaves=8,
)
labels = st.sampled_from([*senml.Row.__struct_fields__, "x", "x_"])


@given(st.lists(st.dictionaries(labels, json_values, max_size=6) | json_values, max_size=5))
def test_arbitrary_json_raises_nothing_but_wire_errors(pack: list[Any]) -> None:
    try:
        records = decode(json.dumps(pack).encode(), NOW_S)
    except WireError:
        return
    assert not records or decode(encode(records), NOW_S) == records


names = st.from_regex(senml._NAME, fullmatch=True)
finite = st.floats(allow_nan=False, allow_infinity=False)
absolute_s = st.floats(senml.ABSOLUTE_FROM_S, senml.LATEST_S)


@st.composite
def any_record(draw: st.DrawFn) -> Record:
    relative_s = draw(st.none() | st.floats(-1e9, 1e8))
    value, text, flag, data = None, None, None, None
    kind = draw(st.sampled_from(["value", "text", "flag", "data", "sum"]))
    if kind == "value":
        value = draw(finite)
    elif kind == "text":
        text = draw(st.text(st.characters(codec="utf-8")))
    elif kind == "flag":
        flag = draw(st.booleans())
    elif kind == "data":
        data = draw(st.binary())
    return Record(
        draw(names),
        draw(absolute_s) if relative_s is None else NOW_S + relative_s,
        draw(st.none() | st.text(st.characters(codec="utf-8"), max_size=4)),
        value,
        text,
        flag,
        data,
        draw(finite) if kind == "sum" else draw(st.none() | finite),
        draw(st.none() | finite),
        relative_s,
    )


@given(st.lists(any_record(), min_size=1, max_size=6))
def test_what_is_encoded_decodes_to_the_same_records_in_order_of_time(records: list[Record]) -> None:
    assert decode(encode(records), NOW_S) == sorted(records, key=lambda r: r.time_s)


@given(st.lists(names, min_size=1, max_size=4), names)
def test_a_base_name_is_written_once_and_changes_nothing(rest: list[str], base: str) -> None:
    records = [Record(f"{base}{name}", NOW_S, value=1.0) for name in rest]
    payload = encode(records, base_name=base)
    assert payload.count(b'"bn"') == 1
    assert decode(payload, 0.0) == records


@pytest.mark.parametrize(
    ("record", "words"),
    [
        (Record("", NOW_S, value=1.0), "has no name"),
        (Record("ä", NOW_S, value=1.0), "is not allowed"),
        (Record("x", NOW_S, value=float("nan")), "not finite"),
        (Record("x", float("inf"), value=1.0), "not finite"),
        (Record("x", 268_435_455.0, value=1.0), "cannot carry the time 268435455 s"),
        (Record("x", NOW_S), "holds no value"),
        (Record("x", NOW_S, value=1.0, flag=True), "more than one value"),
    ],
)
def test_what_could_not_be_read_back_is_not_written(record: Record, words: str) -> None:
    with pytest.raises(WireError, match=words):
        encode([record])


def test_an_empty_pack_or_a_foreign_base_name_is_not_written() -> None:
    with pytest.raises(WireError, match="at least one"):
        encode([])
    with pytest.raises(WireError, match="does not begin with"):
        encode([Record("x", NOW_S, value=1.0)], base_name="y")
