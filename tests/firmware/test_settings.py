"""Good settings are taken, bad ones refused whole with every reason, and a cut leaves the old or the new."""

import json
import re
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from probe import boards
from probe import settings as table
from probe.cycle import BLINKS
from tests.firmware.fakes import Flash, PowerCut

README = Path(__file__).parents[2] / "firmware" / "README.md"
GOOD = {
    "name": "north-bench",
    "wifi": {"ssid": "garden", "password": "hunter22"},
    "broker": {"host": "192.0.2.1", "user": "north-bench", "password": "s3cret", "tls": True},
    "heads": [{"number": 1, "one_wire": "28ff641e8016035c", "moisture": 0}, {"number": 2}],
    "limits": {"1": {"dry_v": 2.1, "cold_c": 10}},
}


def test_the_defaults_are_good_and_read_every_ten_minutes() -> None:
    defaults = table.defaults()
    assert table.check(defaults, defaults) == (defaults, [])
    assert (defaults["read_s"], defaults["send_s"]) == (600, 3600)
    assert defaults["board"] in boards.BOARDS


def test_a_part_is_laid_over_what_was() -> None:
    new, problems = table.check(json.dumps(GOOD), table.defaults())
    assert problems == []
    assert new["wifi"]["password"] == "hunter22"
    assert new["broker"]["port"] == 1883
    assert new["read_s"] == 600


@pytest.mark.parametrize(
    ("given", "words"),
    [
        ({"read_s": "600"}, "read_s must be a whole number"),
        ({"read_s": True}, "read_s must be a whole number"),
        ({"read_s": 1}, "read_s is 1; it must lie between 5 and 86400"),
        ({"receipts": 1}, "receipts must be true or false"),
        ({"name": "North"}, "name is 'North'; use a–z"),
        ({"name": "-x"}, "begin with a letter or digit"),
        ({"garden": ""}, "garden has 0 bytes"),
        ({"wifi": "garden"}, "wifi must be an object"),
        ({"wifi": {"ssid": "a\nb"}}, "wifi.ssid holds a control character"),
        ({"wifi": {"sid": "x"}}, "wifi.sid is not a setting"),
        ({"colour": 1}, "colour is not a setting"),
        ({"heads": {}}, "heads: must be a list"),
        ({"heads": [{"number": 1}, {"number": 1}]}, "a number of its own"),
        ({"heads": [{"number": 16}]}, "a number of its own"),
        ({"heads": [{"number": 1, "one_wire": "28FF"}]}, "16 hex digits"),
        ({"heads": [{"number": 1, "moisture": -1}]}, "number of its input"),
        ({"heads": [{"number": 1, "pin": 4}]}, "pin is not known"),
        ({"limits": {"north": {}}}, "a head of 0 to 15"),
        ({"limits": {"1": {"wet_v": 1}}}, "wet_v is not one of"),
        ({"limits": {"1": {"dry_v": 99}}}, "dry_v must lie between -0.5 and 6"),
        ({"limits": {"1": {"dry_v": True}}}, "dry_v must lie between"),
        ({"read_s": 600, "send_s": 60}, "send_s (60) is shorter than read_s (600)"),
        ("[]", "not a JSON object"),
        ("{", "not JSON"),
        (b"\xff\xfe", "not JSON"),
        ("[" * 3000, "not JSON"),
        (" " * 5000, "longer than 4096 bytes"),
        ('{"limits":{"1":{"dry_v":NaN}}}', "dry_v must lie between"),
    ],
)
def test_a_bad_setting_is_refused_in_words_and_the_old_ones_stay(given: Any, words: str) -> None:
    old = table.defaults()
    new, problems = table.check(given, old)
    assert new is old
    assert old == table.defaults()
    assert [problem for problem in problems if words in problem], problems


def test_all_problems_are_told_at_once() -> None:
    _, problems = table.check({"read_s": 1, "colour": 1, "wifi": {"sid": 2}}, table.defaults())
    assert len(problems) == 3


@given(st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=8),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(
        st.sampled_from(["wifi", "ssid", "heads", "number", "limits", "1", "dry_v", "x"]), inner, max_size=4
    ),
))  # fmt: skip
def test_whatever_json_comes_it_is_taken_or_refused_never_raised(given: Any) -> None:
    old = table.defaults()
    new, problems = (
        table.check(given, old) if isinstance(given, dict) else table.check(json.dumps(given), old)
    )
    assert (new is old) == bool(problems)
    assert table.check(new, table.defaults())[1] == []


def test_the_host_may_change_when_to_measure_and_nothing_that_could_cut_the_probe_off() -> None:
    old = table.defaults()
    new, problems = table.check_from_host(b'{"read_s":300,"limits":{"1":{"dry_v":2}},"revision":4}', old)
    assert problems == []
    assert (new["read_s"], new["revision"]) == (300, 4)
    for name in ("name", "wifi", "broker", "receipts", "heads", "board"):
        same, problems = table.check_from_host({name: old[name]}, old)
        assert same is old
        assert problems == [f"{name} cannot be changed over MQTT; use USB"]


def test_passwords_are_never_shown() -> None:
    new, _ = table.check(GOOD, table.defaults())
    shown = json.dumps(table.masked(new))
    assert "hunter22" not in shown
    assert "s3cret" not in shown
    assert new["wifi"]["password"] == "hunter22"
    _, problems = table.check({"wifi": {"password": "hunter22" * 9}, "broker": {"password": "a\tb"}}, new)
    assert len(problems) == 2
    assert "hunter22" not in " ".join(problems)
    for name, *_ in table.FIELDS:
        assert ("password" in name) == (name in table.SECRETS)


def test_a_cut_at_any_byte_of_saving_leaves_the_old_or_the_new_settings() -> None:
    old, _ = table.check(GOOD, table.defaults())
    new, _ = table.check({"read_s": 300}, old)
    cut, seen = 0, set()
    while True:
        flash = Flash()
        table.save(flash, old)  # type: ignore[arg-type]
        table.save(flash, old)  # type: ignore[arg-type]
        flash.cut_after = cut
        try:
            table.save(flash, new)  # type: ignore[arg-type]
            break
        except PowerCut:
            pass
        flash.cut_after = None
        found, problems = table.load(flash)  # type: ignore[arg-type]
        assert found in (old, new)
        assert problems == []
        seen.add(found["read_s"])
        table.save(flash, new)  # type: ignore[arg-type]
        assert table.load(flash) == (new, [])  # type: ignore[arg-type]
        cut += 1
    assert seen == {300, 600}


def test_a_file_spoilt_by_hand_is_reported_and_the_last_good_one_stands_in() -> None:
    flash = Flash()
    old, _ = table.check(GOOD, table.defaults())
    table.save(flash, old)  # type: ignore[arg-type]
    table.save(flash, old)  # type: ignore[arg-type]
    flash.files["settings.json"] = b'{"read_s": 60'
    found, problems = table.load(flash)  # type: ignore[arg-type]
    assert found == old
    assert problems == ["settings.json: not JSON"]


def test_without_a_file_the_defaults_hold_and_it_says_so() -> None:
    found, problems = table.load(Flash())  # type: ignore[arg-type]
    assert found == table.defaults()
    assert "there is no settings.json" in problems[0]


def test_the_readme_tells_every_setting_with_its_default() -> None:
    rows = dict(
        re.findall(r"^\| `([a-z_.]+)` \| `([^`]*)` \|", README.read_text(encoding="utf-8"), re.MULTILINE)
    )
    for name, kind, _, _, default, _ in table.FIELDS:
        said = json.dumps(default) if kind is not str else default or '""'
        assert rows.get(name) == said, name
    assert {"heads", "limits"} <= set(rows)


def test_the_readme_tells_every_blink() -> None:
    table_of_blinks = (
        README.read_text(encoding="utf-8").split("## What each blink means")[1].split("\n## ")[0]
    )
    for what, times in BLINKS.items():
        assert re.search(rf"^\| {times} \| .*{what.split()[-1]}", table_of_blinks, re.MULTILINE), what
