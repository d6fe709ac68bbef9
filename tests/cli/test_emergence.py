"""`emergence` as a grower types it: table, picture, causes, learned factors, JSON, refusals."""

import pytest

from tests.cli.conftest import CommandLine
from tests.services.little_garden import DAY_MS, NOW_MS, START_MS, little_garden
from traywarden.cli import context
from traywarden.domain.journal import Kind
from traywarden.store import garden, journal


@pytest.fixture
def own(run: CommandLine, monkeypatch: pytest.MonkeyPatch) -> CommandLine:
    """The same garden, to write in."""
    run.home.mkdir()
    little_garden(run.home).store.close()
    monkeypatch.setattr(context, "now_ms", lambda: NOW_MS)
    return run


def test_all_trays_are_a_table_that_begins_with_what_is_late(little: CommandLine) -> None:
    out = little.ok("emergence")
    assert out.startswith("Late: lettuce.")
    row = next(line for line in out.splitlines() if line.startswith("tomatoes"))
    assert "Tomato" in row
    assert "84 %" in row
    assert "on its way" in row
    assert "80 % band" in out
    pepper = next(line for line in out.splitlines() if line.startswith("peppers"))
    assert pepper.count("not foreseen") == 2


def test_one_tray_begins_with_one_sentence_and_draws_both_bands(little: CommandLine) -> None:
    out = little.ok("emergence", "tomatoes")
    assert out.startswith("tomatoes (Cold frame): Tomato is 84 % of the way: ")
    first = next(line for line in out.splitlines() if line.startswith("  first "))
    half = next(line for line in out.splitlines() if line.startswith("  half "))
    for line in (first, half):
        assert line.count("●") == 1
        assert "▒" in line
        assert "│" in line
    assert first.index("●") < half.index("●")
    assert "Degree-days beside it: 92 of 103 °C·days above 7.5 °C" in out
    assert "Harrington & Minges 1954" in out
    assert "no forecast" in out
    assert "about 40 seeds (not written down)" in out


def test_a_late_tray_lists_its_causes_with_numbers_and_what_to_write_down(little: CommandLine) -> None:
    out = little.ok("emergence", "lettuce")
    assert "is late: nine in ten such sowings would have shown by now; perhaps: dried out" in out
    assert "  dried out: possible; 81 of 346 h below the dry line, 81 h in a row" in out
    assert "  No sign of: cold, heat" in out
    assert "If it is up, write it down: traywarden emerged lettuce --count N" in out


def test_the_picture_fits_a_narrow_screen(little: CommandLine, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(context.console, "width", 60)
    drawn = [line for line in little.ok("emergence", "tomatoes").splitlines() if "·" in line and "▒" in line]
    assert len(drawn) == 2
    assert max(map(len, drawn)) <= 60


def test_fahrenheit_is_spoken_where_it_is_set(little: CommandLine, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("TRAYWARDEN_DISPLAY_TEMPERATURE", "F")
    out = little.ok("emergence", "tomatoes")
    assert "above 45.5 °F" in out
    assert "Mix 57.0 °F in the mean" in out


def test_no_answer_mixes_degrees(little: CommandLine, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("TRAYWARDEN_DISPLAY_TEMPERATURE", "F")
    for asked in (
        ("emergence",),
        ("emergence", "lettuce"),
        ("emergence", "peppers"),
        ("quality",),
        ("outlook",),
        ("places", "harden", "Cold frame"),
        ("today",),
    ):
        out = little.ok(*asked)
        assert "°C" not in out, asked


def test_json_has_times_bands_and_causes(little: CommandLine) -> None:
    found = little.json("emergence", "lettuce")
    (tray,) = found["trays"]
    assert tray["state"] == "late"
    assert len(tray["causes"]) == 5
    assert tray["first"]["low"] < tray["first"]["high"]
    assert tray["degree_days"]["needed_c_days"] == 52.9


def test_what_was_learned_is_shown_with_prior_data_and_posterior_and_can_be_left_out(
    own: CommandLine,
) -> None:
    store = own.store()
    with store.write() as tx:
        tray_id = garden.tray_named(tx, "lettuce").tray_id
        for day, count in ((7, 0), (9, 20)):
            journal.write(
                tx, Kind.EMERGED, START_MS + day * DAY_MS, NOW_MS, tray_id=tray_id, data={"count": count}
            )
    store.close()
    out = own.ok("emergence", "--learned")
    assert "Tomato" in out
    row = next(line for line in out.splitlines() if line.startswith("Lettuce  any"))
    assert "1.00 (0.83–1.20)" in row
    assert "1 sowing" in row
    entry = next(
        s["entry"]
        for c in own.json("emergence", "--learned")["crops"]
        for s in c["sowings"]
        if s["tray"] == "lettuce"
    )
    says = own.ok("journal", "correct", str(entry), "--leave-out")
    assert "left out of learning" in says
    gone = own.ok("emergence", "--learned", "--crop", "lettuce")
    assert "Left out of learning by you" in gone
    assert "0 sowings" in gone
    later = next(
        s["entry"]
        for c in own.json("emergence", "--learned")["crops"]
        for s in c["sowings"]
        if s["tray"] == "lettuce"
    )
    own.ok("journal", "undo", str(later))
    assert "1 sowing" in own.ok("emergence", "--learned", "--crop", "lettuce")


def test_an_emergence_too_can_be_left_out_and_taken_in_again(own: CommandLine) -> None:
    own.ok("emerged", "lettuce", "--count", "5", "--at", "2026-03-09 08:00")
    (entry,) = [e["entry"] for e in own.json("journal", "list") if e["kind"] == "emerged"]

    def factor() -> float:
        (crop,) = own.json("emergence", "--learned", "--crop", "lettuce")["crops"]
        return float(crop["after"]["expected"])

    assert factor() > 1.02
    own.ok("journal", "correct", str(entry), "--leave-out")
    assert factor() == 1.0
    assert own.json("emergence", "lettuce")["trays"][0]["up_count"] == 5
    own.ok("journal", "correct", str(entry + 1), "--learn")
    assert factor() > 1.02


def test_questions_that_do_not_fit_together_are_refused(little: CommandLine) -> None:
    assert "--learned" in little.refused("emergence", "--crop", "tomato")
    assert "--learned --crop" in little.refused("emergence", "tomatoes", "--learned")
    assert "lettuce" in little.refused("emergence", "letuce")
    assert "no litres" not in little.refused("journal", "correct", "1", "--leave-out")
