"""What is changed in settings.toml is taken while the host runs: whole, once, and only what can be."""

import os
from pathlib import Path

from traywarden.errors import StoreError
from traywarden.services.following import Following
from traywarden.settings import Settings, load


def _rested(following: Following) -> None:
    for _ in range(3):
        following.look()


def test_a_change_is_taken_once_and_what_holds_at_the_start_alone_stays(tmp_path: Path) -> None:
    path, taken, said = tmp_path / "settings.toml", list[Settings](), list[str]()
    environ = {"TRAYWARDEN_DRY_CLOSE_DELAY_S": "77"}
    following = Following(load(tmp_path, environ=environ), taken.append, said.append)
    _rested(following)
    assert taken == []
    path.write_text("[dry]\nopen_delay_s = 60\nclose_delay_s = 5\n[broker]\nport = 1999\n")
    _rested(following)
    (found,) = taken
    assert (found["dry.open_delay_s"], found["dry.close_delay_s"]) == (60.0, 77.0)
    assert found["broker.port"] == load(tmp_path / "none", environ={})["broker.port"]
    path.write_text("[dry]\nopen_delay_s = 60\n[broker]\nport = 2000\n")
    _rested(following)
    assert (len(taken), said) == (1, [])


def test_what_was_changed_before_it_looked_is_taken(tmp_path: Path) -> None:
    given, taken = load(tmp_path, environ={}), list[Settings]()
    (tmp_path / "settings.toml").write_text('[[channel]]\nname = "hook"\nurl = "json://localhost/"\n')
    _rested(Following(given, taken.append, print))
    assert [channel.name for channel in taken[0].channels] == ["hook"]


def test_a_file_that_is_being_written_waits_and_a_slip_is_said_once(tmp_path: Path) -> None:
    path, taken, said = tmp_path / "settings.toml", list[Settings](), list[str]()
    following = Following(load(tmp_path, environ={}), taken.append, said.append)
    for written in ("[dry]\nopen_del", "[dry]\nopen_delay_s", "[dry]\nopen_delay_s = 60\n"):
        path.write_text(written)
        following.look()
    assert (taken, said) == ([], [])
    _rested(following)
    assert len(taken) == 1
    path.write_text("[dry]\nopen_delay_s = -60\n")
    _rested(following)
    assert len(taken) == 1
    (sentence,) = said
    assert "the host goes on as before" in sentence
    assert "dry.open_delay_s" in sentence


def test_a_file_that_is_gone_leaves_all_as_it_was_and_is_taken_when_it_is_back(tmp_path: Path) -> None:
    path, taken, said = tmp_path / "settings.toml", list[Settings](), list[str]()
    path.write_text('[[channel]]\nname = "hook"\nurl = "json://localhost/"\n')
    following = Following(load(tmp_path, environ={}), taken.append, said.append)
    _rested(following)
    path.unlink()
    _rested(following)
    assert taken == []
    assert said == [f"{path} is gone; the host goes on as before. Put it back, or start the host anew."]
    path.write_text("[dry]\nopen_delay_s = 60\n")
    _rested(following)
    assert [(found.channels, found["dry.open_delay_s"]) for found in taken] == [((), 60.0)]


def test_what_looks_the_same_but_is_another_file_is_read(tmp_path: Path) -> None:
    """As where it is put back from a copy that kept its time, or the host may read it again."""
    path, taken = tmp_path / "settings.toml", list[Settings]()
    path.write_text("[dry]\nopen_delay_s = 60\n")
    following = Following(load(tmp_path, environ={}), taken.append, print)
    _rested(following)
    before = path.stat()
    path.write_text("[dry]\nopen_delay_s = 90\n")
    os.utime(path, ns=(before.st_atime_ns, before.st_mtime_ns))
    _rested(following)
    assert [found["dry.open_delay_s"] for found in taken] == [90.0]


def test_trouble_with_the_store_is_waited_out(tmp_path: Path) -> None:
    path, asked = tmp_path / "settings.toml", list[Settings]()

    def take(settings: Settings) -> None:
        asked.append(settings)
        if len(asked) < 3:
            raise StoreError("The store cannot be reached.")

    following = Following(load(tmp_path, environ={}), take, print)
    path.write_text("[dry]\nopen_delay_s = 60\n")
    for _ in range(3):
        _rested(following)
    assert [found["dry.open_delay_s"] for found in asked] == [60.0] * 3
