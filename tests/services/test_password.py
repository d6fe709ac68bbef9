"""The password is kept as a hash that only its owner can read."""

from pathlib import Path

import pytest
from argon2 import extract_parameters
from argon2.low_level import Type

from traywarden.errors import UsageError
from traywarden.services.password import FILE, LEAST, MOST, clear_password, kept_hash, matches, set_password


def test_only_an_argon2id_hash_is_kept_for_the_owner_alone(tmp_path: Path) -> None:
    set_password(tmp_path, "wren in a hedge")
    path = tmp_path / FILE
    assert path.stat().st_mode & 0o777 == 0o600
    assert "wren" not in path.read_text()
    costs = extract_parameters(kept_hash(tmp_path))
    assert costs.type is Type.ID
    # OWASP's password storage page asks for at least 19 MiB and two passes of argon2id (from memory)
    assert costs.memory_cost >= 19 * 1024
    assert costs.time_cost >= 2
    assert [each.name for each in tmp_path.iterdir()] == [FILE]


def test_it_matches_itself_alone_however_its_letters_are_composed(tmp_path: Path) -> None:
    set_password(tmp_path, "Gartenhütte 7")
    kept = kept_hash(tmp_path)
    assert matches(kept, "Gartenhütte 7")
    assert matches(kept, "Gartenhu\u0308tte 7")
    for other in ("", "gartenhütte 7", "Gartenhütte 7 ", "x" * 5_000, "\x00"):
        assert not matches(kept, other)
    assert not matches("", "")
    assert not matches("nonsense", "Gartenhütte 7")


@pytest.mark.parametrize("length", [0, LEAST - 1, MOST + 1])
def test_too_short_and_too_long_are_refused_and_change_nothing(tmp_path: Path, length: int) -> None:
    set_password(tmp_path, "wren in a hedge")
    with pytest.raises(UsageError, match=f"give {LEAST} to {MOST}"):
        set_password(tmp_path, "x" * length)
    assert matches(kept_hash(tmp_path), "wren in a hedge")


def test_it_can_be_changed_and_taken_away(tmp_path: Path) -> None:
    assert kept_hash(tmp_path) == ""
    assert not clear_password(tmp_path)
    set_password(tmp_path / "new", "wren in a hedge")
    set_password(tmp_path / "new", "robin in a hedge")
    assert matches(kept_hash(tmp_path / "new"), "robin in a hedge")
    assert clear_password(tmp_path / "new")
    assert kept_hash(tmp_path / "new") == ""


def test_a_folder_that_cannot_be_written_is_said_in_one_sentence(tmp_path: Path) -> None:
    (tmp_path / "file").touch()
    with pytest.raises(UsageError, match="cannot be written"):
        set_password(tmp_path / "file", "wren in a hedge")
