"""One setting is changed in settings.toml, and everything else in it stays as it was."""

from pathlib import Path
from typing import Any

import pytest

from traywarden.errors import SettingsError
from traywarden.settings import load
from traywarden.settings.editing import with_value, without_channel, without_value
from traywarden.settings.writing import add_channel, change_settings, remove_channel

WRITTEN = """\
# My garden. Do not lose this.
store.batch_rows = 4000   # small card

[display]          # on screen
# the old mercury one is in °F
temperature = "F"  # or "C" # really

[broker]
host = "192.168.1.20"
user = "g#row"  # a name with a hash
password = 'hash # "inside"'

[[channel]]
name = "post"
url = "json://localhost:1/#x"

# the second phone
[[channel]]
name = "phone"
url = "json://localhost:2/"
"""


@pytest.mark.parametrize(
    ("key", "value", "old", "new"),
    [
        (
            "display.temperature",
            "C",
            'temperature = "F"  # or "C" # really',
            'temperature = "C"  # or "C" # really',
        ),
        (
            "store.batch_rows",
            100,
            "store.batch_rows = 4000   # small card",
            "store.batch_rows = 100   # small card",
        ),
        ("broker.user", 'a"b', 'user = "g#row"  # a', 'user = "a\\"b"  # a'),
        ("broker.password", "new", "password = 'hash # \"inside\"'", 'password = "new"'),
        (
            "broker.port",
            1884,
            '\'\n\n[[channel]]\nname = "post"',
            '\'\nport = 1884\n\n[[channel]]\nname = "post"',
        ),
        ("store.url", "x", "small card\n", 'small card\nstore.url = "x"\n'),
    ],
)
def test_one_line_is_changed_or_added_and_no_other(key: str, value: Any, old: str, new: str) -> None:
    assert WRITTEN.count(old) == 1
    assert with_value(WRITTEN, key, value) == WRITTEN.replace(old, new)


def test_a_section_that_is_not_there_is_added_at_the_end() -> None:
    assert with_value(WRITTEN, "mix.hot_above_c", 21.0) == f"{WRITTEN}\n[mix]\nhot_above_c = 21.0\n"
    assert with_value("", "web.enabled", False) == "[web]\nenabled = false\n"
    assert with_value("[web]", "web.port", 1) == "[web]\nport = 1\n"


def test_the_same_value_changes_nothing_but_a_whole_number_is_no_truth() -> None:
    assert with_value(WRITTEN, "display.temperature", "F") == WRITTEN
    assert with_value("[broker]\ntls = 1\n", "broker.tls", True) == "[broker]\ntls = true\n"


@pytest.mark.parametrize(
    "text",
    [
        'display = { temperature = "F" }\n',
        '[display]\ntemperature = """\nF"""\n',
        'note = """\n[display]\ntemperature = "F"\n"""\n',
    ],
)
def test_a_file_written_in_another_way_is_not_touched(text: str) -> None:
    with pytest.raises(SettingsError, match=r"change display\.temperature in the file itself"):
        with_value(text, "display.temperature", "C")


def test_a_look_alike_in_another_table_or_in_a_text_is_left_alone() -> None:
    text = '[other]\nport = 1\n[broker]\n"port" = 2\n[[channel]]\nport = 3\n'
    assert with_value(text, "broker.port", 9) == text.replace('"port" = 2', '"port" = 9')


def test_line_ends_and_permissions_stay_and_nothing_else_is_left_in_the_folder(tmp_path: Path) -> None:
    path = tmp_path / "settings.toml"
    path.write_bytes(b"[display]\r\ntemperature = 'F' # \xc2\xb0\r\n")
    path.chmod(0o640)
    settings = change_settings(tmp_path, {"display.temperature": "C", "display.length": "in"})
    assert (settings["display.temperature"], settings["display.length"]) == ("C", "in")
    assert path.read_bytes().startswith(b'[display]\r\ntemperature = "C" # \xc2\xb0\r\n')
    assert path.stat().st_mode & 0o777 == 0o640
    assert [each.name for each in tmp_path.iterdir()] == ["settings.toml"]
    assert load(tmp_path, environ={})["display.length"] == "in"


def test_a_new_file_is_its_owners_alone_and_a_link_stays_a_link(tmp_path: Path) -> None:
    (tmp_path / "home").mkdir()
    (tmp_path / "home" / "settings.toml").symlink_to(tmp_path / "real.toml")
    change_settings(tmp_path / "home", {"broker.password": "secret", "broker.user": "me"})
    assert (tmp_path / "home" / "settings.toml").is_symlink()
    assert (tmp_path / "real.toml").stat().st_mode & 0o777 == 0o600


@pytest.mark.parametrize(
    ("changes", "says"),
    [
        ({"broker.port": 70_000}, "broker.port: 70000 cannot be used; use a number from 0 to 65535"),
        ({"broker.prot": 1}, "did you mean “broker.port”"),
        ({"display.temperature": "C", "display.length": "cubit"}, "use one of mm, in"),
        ({"mix.hot_above_c": float("nan")}, "mix.hot_above_c"),
    ],
)
def test_what_could_not_be_used_is_refused_and_nothing_is_written(
    tmp_path: Path, changes: dict[str, Any], says: str
) -> None:
    (tmp_path / "settings.toml").write_text(WRITTEN)
    with pytest.raises(SettingsError, match=says):
        change_settings(tmp_path, changes)
    assert (tmp_path / "settings.toml").read_text() == WRITTEN
    assert [each.name for each in tmp_path.iterdir()] == ["settings.toml"]


def test_a_file_that_is_wrong_already_says_so(tmp_path: Path) -> None:
    (tmp_path / "settings.toml").write_text("[display\n")
    with pytest.raises(SettingsError, match="not valid TOML"):
        change_settings(tmp_path, {"display.temperature": "C"})
    assert (tmp_path / "settings.toml").read_text() == "[display\n"


def test_channels_come_and_go_with_their_own_lines_only(tmp_path: Path) -> None:
    path = tmp_path / "settings.toml"
    path.write_text(WRITTEN)
    settings = add_channel(tmp_path, 'tab\t"let', "json://localhost:3/", "warning")
    assert [c.name for c in settings.channels] == ["post", "phone", 'tab\t"let']
    assert path.read_text().startswith(WRITTEN)
    settings = remove_channel(tmp_path, "post")
    assert [c.name for c in settings.channels] == ["phone", 'tab\t"let']
    assert '# the second phone\n[[channel]]\nname = "phone"' in path.read_text()
    remove_channel(tmp_path, "phone")
    assert remove_channel(tmp_path, 'tab\t"let').channels == ()
    assert path.read_text().startswith(WRITTEN.split("[[channel]]", maxsplit=1)[0])
    with pytest.raises(SettingsError, match="no channel called “post”"):
        without_channel(path.read_text(), "post")
    with pytest.raises(SettingsError, match="needs a name and a url"):
        add_channel(tmp_path, "post", "nonsense", "info")


OF_ONE = """\
[dry]
line_times = 1.1  # all
crop.basil.line_times = 0.8  # dotted

[dry.mix."Bark [fine] #2"]  # odd
line_times = 0.9

# the hot ones
[frost.crop.basil]
warmer_by_c = 3.0
"""


@pytest.mark.parametrize(
    ("key", "value", "old", "new"),
    [
        ("dry.mix.Bark [fine] #2.line_times", 0.7, "line_times = 0.9", "line_times = 0.7"),
        ("dry.crop.basil.line_times", 0.7, "line_times = 0.8", "line_times = 0.7"),
        (
            "dry.crop.basil.open_delay_s",
            60.0,
            "0.8  # dotted\n",
            "0.8  # dotted\ncrop.basil.open_delay_s = 60.0\n",
        ),
        ("frost.crop.basil.open_delay_s", 60.0, "= 3.0\n", "= 3.0\nopen_delay_s = 60.0\n"),
        ("dry.stage.sown.line_times", 1.2, "= 3.0\n", "= 3.0\n\n[dry.stage.sown]\nline_times = 1.2\n"),
        ('dry.mix.a "b".line_times', 1.2, "= 3.0\n", '= 3.0\n\n[dry.mix."a \\"b\\""]\nline_times = 1.2\n'),
    ],
)
def test_a_number_for_one_crop_mix_or_stage_is_written_and_taken_out_again(
    tmp_path: Path, key: str, value: float, old: str, new: str
) -> None:
    made = with_value(OF_ONE, key, value)
    assert made == OF_ONE.replace(old, new)
    assert load(tmp_path, {}, written=made).overrides[key] == value
    left = without_value(made, key)
    assert key not in load(tmp_path, {}, written=left).overrides
    if key not in load(tmp_path, {}, written=OF_ONE).overrides:
        assert left.rstrip() == OF_ONE.rstrip(), "as if it had never been given"


def test_a_section_with_a_comment_of_its_own_stays_when_its_last_number_goes() -> None:
    left = without_value("[dry.crop.basil]\n# by taste\nline_times = 0.8\n", "dry.crop.basil.line_times")
    assert left == "[dry.crop.basil]\n# by taste\n"
    assert without_value(left, "dry.crop.basil.line_times") == left
