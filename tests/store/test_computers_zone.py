"""The time zone of the computer, wherever it is written down."""

from pathlib import Path

import pytest

from traywarden.store.zones import computers_zone


def test_the_environment_comes_first_then_the_link_then_the_file(tmp_path: Path) -> None:
    zones = tmp_path / "share" / "zoneinfo" / "America" / "Argentina"
    zones.mkdir(parents=True)
    (zones / "Ushuaia").touch()
    (tmp_path / "timezone").write_text("Asia/Tokyo\n")
    assert computers_zone({}, tmp_path) == "Asia/Tokyo"
    (tmp_path / "localtime").symlink_to(zones / "Ushuaia")
    assert computers_zone({}, tmp_path) == "America/Argentina/Ushuaia"
    assert computers_zone({"TZ": ":Europe/Lisbon"}, tmp_path) == "Europe/Lisbon"


@pytest.mark.parametrize("tz", ["", "CET-1CEST", "/nowhere", "../../etc/passwd"])
def test_what_names_no_zone_is_none(tmp_path: Path, tz: str) -> None:
    (tmp_path / "timezone").write_bytes(b"\xff\xfe")
    assert computers_zone({"TZ": tz}, tmp_path) is None
