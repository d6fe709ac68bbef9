"""The demo's folder is its own: nothing that somebody else put there is touched, and nothing is deleted."""

from pathlib import Path

import pytest

from traywarden.demo.home import MARK_NAME, fresh_home
from traywarden.errors import UsageError
from traywarden.services.running import RunningMark
from traywarden.settings import load


def test_a_new_folder_is_made_marked_and_holds_settings_that_load(tmp_path: Path) -> None:
    home = tmp_path / "a" / "demo"
    assert fresh_home(home) is None
    assert (home / MARK_NAME).exists()
    assert load(home, environ={})["broker.port"] == 0


def test_an_earlier_demo_is_kept_aside_each_in_a_folder_of_its_own(tmp_path: Path) -> None:
    home = tmp_path / "demo"
    fresh_home(home)
    (home / "traywarden.sqlite3").write_text("first")
    assert fresh_home(home) == home / "before-1"
    (home / "traywarden.sqlite3").write_text("second")
    assert fresh_home(home) == home / "before-2"
    assert (home / "before-1" / "traywarden.sqlite3").read_text() == "first"
    assert (home / "before-2" / "traywarden.sqlite3").read_text() == "second"
    assert not (home / "traywarden.sqlite3").exists()


def test_a_folder_that_no_demo_made_is_left_as_it_is(tmp_path: Path) -> None:
    (tmp_path / "traywarden.sqlite3").write_text("a real garden")
    with pytest.raises(UsageError, match="left as it is"):
        fresh_home(tmp_path)
    assert [path.name for path in tmp_path.iterdir()] == ["traywarden.sqlite3"]


def test_a_file_in_its_place_or_a_running_host_is_refused(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("")
    with pytest.raises(UsageError, match="is a file"):
        fresh_home(tmp_path / "file")
    home = tmp_path / "demo"
    fresh_home(home)
    mark = RunningMark(home)
    mark.take()
    mark.write(0, ("127.0.0.1", 1))
    try:
        with pytest.raises(UsageError, match="A host runs in"):
            fresh_home(home)
    finally:
        mark.release(1)
