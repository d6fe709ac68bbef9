"""A probe provisioned by command over a pseudo-terminal, with MicroPython itself at the other end."""

import json
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.cables import until
from tests.cli.conftest import CommandLine
from tests.interpreter.wired import Wired

pytestmark = pytest.mark.system


@pytest.fixture
def wired(tmp_path: Path) -> Iterator[Wired]:
    made = Wired(tmp_path / "ttyACM0")
    yield made
    made.node.close()


def test_it_is_checked_read_live_set_up_and_starts_anew(wired: Wired, garden: CommandLine) -> None:
    port = str(wired.path)
    with wired.plugged_in():
        assert "Every sensor answers." in garden.ok("probe", "check", port)
        (seen,) = garden.json("probe", "live", port)
        assert (seen["values"]["1/soil_temperature"], seen["faults"]) == (25.0625, [])
        spool = garden.json("probe", "spool", port)
        assert spool["gathered"] + spool["waiting"] >= 1
        assert garden.json("probe", "last-reset", port)["words"] == "power was connected, or dipped"
        assert "use a–z, 0–9" in garden.refused("probe", "set-up", port, "--name", "Not A Name")
        assert "frame-1" in garden.ok("probe", "set-up", port, "--name", "frame-1", "--heads", "1")
        until(lambda: wired.lived)
    assert wired.lived["ended"] == "reset"
    saved = json.loads(wired.flash()["/settings.json"])
    assert saved["name"] == "frame-1"
    assert saved["set_up_s"] * 1000 >= wired.began_ms - 1000
