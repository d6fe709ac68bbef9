"""The import command shows what it would do, does it when told, and says in a sentence why not."""

import csv
import io
import json
import tomllib
from pathlib import Path

import pytest

from traywarden.cli.main import main

LOG = "time,Soil temp (°C)\n2024-05-01 00:00,10.5\n2024-05-01 00:30,oops\n2024-05-01 01:00,11\n"


class Command:
    def __init__(self, home: Path, capsys: pytest.CaptureFixture[str]) -> None:
        self.home, self._capsys = home, capsys
        (home / "log.csv").write_text(LOG, encoding="utf-8")

    def __call__(self, *words: str) -> tuple[int, str, str]:
        """Exit code, what it printed, what it complained of."""
        code = main(["--home", str(self.home), *(w.replace("@", f"{self.home}/") for w in words)])
        said = self._capsys.readouterr()
        return code, said.out, said.err


@pytest.fixture
def run(tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch) -> Command:
    monkeypatch.setattr("sys.stdin", io.StringIO())
    return Command(tmp_path, capsys)


def test_without_a_terminal_the_guess_is_printed_and_nothing_is_imported(run: Command) -> None:
    code, out, err = run("import", "@log.csv", "--offset", "-06:00")
    assert code == 2
    assert "take it with --yes" in err
    printed = tomllib.loads(out)
    assert printed["time"]["offset"] == "-06:00"
    assert printed["column"] == [
        {"name": "Soil temp (°C)", "head": 1, "quantity": "soil_temp_c", "unit": "°C"}
    ]
    (run.home / "printed.toml").write_text(out, encoding="utf-8")
    _, out, _ = run("import", "@log.csv", "--map", "@printed.toml", "--json")
    assert json.loads(out)["readings_new"] == 2


def test_yes_takes_the_guess_and_the_result_is_told(run: Command) -> None:
    words = ("import", "@log.csv", "--offset=-06:00", "--yes", "--logger", "frame")
    code, out, _ = run(*words, "--write-map", "@saved.toml", "--report", "@report.csv")
    assert code == 0
    assert "3 rows, as logger “frame”" in out
    assert "2 readings are new; 0 were stored already" in out
    assert "line 3, “Soil temp (°C)”: 'oops': cell left out" in out
    with (run.home / "report.csv").open(encoding="utf-8", newline="") as file:
        assert [(row["line"], row["column"], row["text"]) for row in csv.DictReader(file)] == [
            ("3", "Soil temp (°C)", "oops")
        ]
    _, out, _ = run("import", "@log.csv", "--map", "@saved.toml", "--logger", "frame", "--json")
    assert json.loads(out)["readings_new"] == 0


def test_the_garden_lends_its_zone(run: Command) -> None:
    assert run("garden", "set", "Demo", "--time-zone", "America/Chicago")[0] == 0
    code, out, _ = run("import", "@log.csv", "--yes")
    assert code == 0
    assert 'traywarden probe place log/1 --tray TRAY --at "2024-05-01 00:00"' in out
    assert "from 2024-05-01 00:00 CDT to 2024-05-01 01:00 CDT" in out
    assert "Guessed: Stamps are wall-clock time in America/Chicago" in out


def test_an_open_question_is_not_answered_by_yes(run: Command) -> None:
    code, _, err = run("import", "@log.csv", "--yes")
    assert (code, "Which clock did the logger keep?" in err, "--zone or --offset" in err) == (2, True, True)
    (run.home / "log.csv").write_text("time,soil temp\n1/2/2024 0:00,1\n", encoding="utf-8")
    code, _, err = run("import", "@log.csv", "--yes", "--offset", "Z")
    assert (code, "--date-order dmy or mdy" in err) == (2, True)
    assert run("import", "@log.csv", "--yes", "--offset", "Z", "--date-order", "dmy")[0] == 0


@pytest.mark.parametrize(
    ("words", "code", "sentence"),
    [
        (("import", "@none.csv", "--yes"), 5, "There is no file"),
        (("import", "@log.csv", "--map", "@none.toml"), 2, "There is no mapping file"),
        (("import", "@log.csv", "--zone", "Europe/Lissabon"), 2, "no known zone"),
        (("import", "@log.csv", "--offset", "six"), 2, "write it like “-06:00”"),
        (("import", "@log.csv", "--date-order", "ymd"), 2, "write dmy or mdy"),
        (("import", "@log.csv", "--logger", "My Frame"), 2, "cannot be a logger's name"),
        (
            ("import", "@log.csv", "--offset", "Z", "--yes", "--report", "@no/such/dir.csv"),
            2,
            "cannot be written",
        ),
        (("replay",), 2, "Name a file to replay, or --from-store"),
        (("replay", "--from-store"), 2, "Say which probe"),
    ],
)
def test_what_cannot_be_done_is_one_sentence(
    run: Command, words: tuple[str, ...], code: int, sentence: str
) -> None:
    found, _, err = run(*words)
    assert (found, sentence in err) == (code, True), err
    assert "Traceback" not in err
