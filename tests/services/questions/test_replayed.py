"""What other settings would have told of a span, and why a rule says what it says now."""

from dataclasses import replace
from datetime import date
from pathlib import Path

import pytest

from tests.services.rule_worlds import one_given_up, vitals
from tests.services.timelines import CALM, HALF_HOUR_MS, SILENT, Line
from tests.services.watched_garden import HOUR_MS, MINUTE_MS, START_MS, WatchedGarden, settings_with
from traywarden.errors import SettingsError, UnknownNameError, UsageError
from traywarden.services.questions.explained import ask_explain
from traywarden.services.questions.ground import Ground, ground
from traywarden.services.questions.replayed import ReplayAsked, ask_replay
from traywarden.services.running import RunningMark
from traywarden.settings import load
from traywarden.store import garden as garden_store
from traywarden.store.store import Store, Tx


def on(line: Line, tx: Tx) -> Ground:
    found = garden_store.the_garden(tx)
    assert found is not None
    return ground(tx, found, line.garden.settings, line.at_ms)


def replayed(line: Line, *rules: str, given: tuple[str, ...] = ()) -> list[tuple[str, str]]:
    """Rule and change of each; one notice may tell of several rules, as one walk may answer them."""
    with line.store.read() as tx:
        answer = ask_replay(on(line, tx), ReplayAsked(None, None, rules, given))
    return [(rule, each.change) for each in answer.notices for rule in each.rule.split(", ")]


def dried_and_watered(store: Store) -> Line:
    line = Line(store)
    for moisture, hours in ((0.36, 1), (0.24, 2), (0.36, 2)):
        line.run(replace(CALM, moisture_m3_m3=moisture), hours)
    return line


def test_a_replay_with_the_same_settings_tells_what_was_told_and_changes_nothing(sqlite_store: Store) -> None:
    line = dried_and_watered(sqlite_store)
    before = line.garden.notices(), line.garden.episodes()
    told = replayed(line, "dry", "cold", "vent", "quiet")
    assert told == line.said == [("dry", "opened"), ("dry", "closed")]
    assert (line.garden.notices(), line.garden.episodes()) == before


def test_a_replay_reminds_as_the_host_did_also_in_quiet_hours(sqlite_store: Store) -> None:
    """Told at seven, and reminded after one, two and four hours more."""
    line = Line(sqlite_store, {"notices__remind_after_s": 3600.0})
    for moisture, hours in ((0.36, 0.5), (0.24, 9), (0.36, 1)):
        line.run(replace(CALM, moisture_m3_m3=moisture), hours)
    assert line.of("dry") == ["opened", "reminded", "reminded", "reminded", "closed"]
    assert replayed(line, "dry") == line.said
    quiet = ("notices.quiet_from=05:00", "notices.quiet_until=23:00")
    assert replayed(line, "dry", given=quiet) == line.said[:-1], "what is urgent is told, its end waits"


def test_a_replay_tells_of_heat_when_the_host_did_though_a_cold_that_has_passed_is_open(
    sqlite_store: Store,
) -> None:
    line = Line(sqlite_store, {"hot__open_delay_s": 3600.0, "cold__open_delay_s": 3600.0})
    line.run(replace(CALM, soil_c=0.5), 2, HALF_HOUR_MS)
    line.run(replace(CALM, soil_c=45.0), 22, 2 * HOUR_MS)
    assert replayed(line, "cold", "hot") == line.said == [("cold", "opened")]
    line.run(replace(CALM, soil_c=45.0), 4, HOUR_MS)
    assert replayed(line, "cold", "hot") == line.said == [("cold", "opened"), ("hot", "opened")]


def test_what_is_dry_together_is_told_together_and_counted_for_each_tray(sqlite_store: Store) -> None:
    """Both trays are below their line within the two minutes in which notices gather."""
    garden = WatchedGarden(sqlite_store, settings_with(notices__gather_s=120.0), trays=2)
    for number in range(12):
        at_ms = START_MS + number * 10 * MINUTE_MS
        garden.clock.ms = at_ms + MINUTE_MS
        for tray in "AB":
            garden.measure(at_ms + (tray == "B") * MINUTE_MS, 0.36 if number < 3 else 0.24, tray=tray)
    with sqlite_store.read() as tx:
        known = garden_store.the_garden(tx)
        assert known is not None
        answer = ask_replay(
            ground(tx, known, garden.settings, at_ms + MINUTE_MS), ReplayAsked(None, None, ("dry",))
        )
    (notice,) = answer.notices
    assert notice.trays == notice.subjects == ("A", "B")
    assert [(each.tray, each.notices, each.most) for each in answer.by_tray] == [("A", 1, 1), ("B", 1, 1)]
    assert [(each.notices, each.rules) for each in answer.by_day] == [(1, ("dry",))]
    (counted,) = answer.rules
    assert (counted.notices, counted.begun, counted.episodes, counted.gap_s) == (1, 1, 2, 1800.0)


def test_a_span_that_is_too_long_says_so(sqlite_store: Store) -> None:
    line = Line(sqlite_store)
    line.run(CALM, 0.5)
    with sqlite_store.read() as tx, pytest.raises(UsageError, match="at most 400 days"):
        ask_replay(on(line, tx), ReplayAsked(date(2024, 1, 1), date(2026, 2, 1)))


def test_other_settings_tell_otherwise(sqlite_store: Store) -> None:
    line = dried_and_watered(sqlite_store)
    assert replayed(line, "dry", given=("dry.open_delay_s=10800",)) == []
    assert replayed(line, "dry", given=("dry.crop.tomato.line_times=0.5",)) == []
    assert replayed(line, "dry", given=("dry.stage.seedling.line_times=0.5",)) == line.said


def test_a_crop_is_known_by_the_name_a_grower_types(sqlite_store: Store) -> None:
    """It is the tomato's level that counts: told by no rule is what is dry for less than a day."""
    line = dried_and_watered(sqlite_store)
    assert replayed(line, "dry", given=("dry.crop.Tomatoes.open_delay_s=86400",)) == []


@pytest.mark.parametrize(
    ("rules", "given", "error"),
    [
        (("draught",), (), UnknownNameError),
        (("dry",), ("dry.open_delay_s",), UsageError),
        (("dry",), ("dry.open_delay_s=soon",), SettingsError),
        (("dry",), ("dry.stage.asleep.line_times=0.5",), SettingsError),
        (("dry",), ("dry.crop.tomato.opened_delay_s=60",), SettingsError),
        (("dry",), ("dry.crop.tomatto.open_delay_s=60",), UnknownNameError),
        (("dry",), ("dry.mix.grit.open_delay_s=60",), UnknownNameError),
        (("dry",), ("dry.open_delay_s=60", "dry.open_delay_s=90"), UsageError),
        (("dry",), ("dry.crop.tomato.open_delay_s=60", "dry.crop.Tomatoes.open_delay_s=90"), UsageError),
        (("dry",), ("cold.open_delay_s=60",), UsageError),
    ],
)
def test_what_cannot_be_replayed_says_so(
    sqlite_store: Store, rules: tuple[str, ...], given: tuple[str, ...], error: type[Exception]
) -> None:
    line = Line(sqlite_store)
    line.run(CALM, 0.5)
    with pytest.raises(error):
        replayed(line, *rules, given=given)


def test_an_explanation_says_why_by_which_levels_and_when_it_would_turn(sqlite_store: Store) -> None:
    line = Line(sqlite_store)
    line.run(replace(CALM, moisture_m3_m3=0.36), 0.5)
    line.run(replace(CALM, moisture_m3_m3=0.24), 1 / 3)
    with line.store.read() as tx:
        told = ask_explain(on(line, tx), "dry", "A")
        frost = ask_explain(on(line, tx), "frost", "frame")
        disk = ask_explain(on(line, tx), "disk", "")
    assert (told.answer, told.stage, told.open_since) == ("yes", "sown", None)
    assert told.turns_in_s == 20 * 60, "ten minutes of thirty are over"
    assert {s.key: s.known_from for s in told.settings}["dry.open_delay_s"] == "default"
    assert (frost.answer, frost.subject) == ("no", "frame")
    assert (disk.answer, disk.reason) == (
        "no",
        "9,000 MB are free where the garden is kept, as the running host saw it at 06:50",
    )


def test_an_explanation_names_the_shadow(sqlite_store: Store) -> None:
    line = Line(sqlite_store)
    line.run(CALM, 0.5)
    line.run(SILENT, 3)
    with line.store.read() as tx:
        told = ask_explain(on(line, tx), "dry", "A")
    assert (told.answer, told.shadow) == ("blind", "waits while probe-a is quiet")
    assert told.turns_at is None


def test_what_only_the_running_host_sees_is_told_as_it_saw_it_and_not_for_longer_than_that_holds(
    sqlite_store: Store,
) -> None:
    line = Line(sqlite_store)
    with line.store.read() as tx:
        never = ask_explain(on(line, tx), "broker", "host")
    assert (never.answer, never.looked) == ("blind", None)
    assert never.reason.endswith("none has looked yet; none runs here now (start it: traywarden run)")
    line.run(vitals(broker_gone_s=400.0), 1)
    seen_ms = line.at_ms
    line.restart()  # what is known is kept
    with line.store.read() as tx:
        gone = ask_explain(on(line, tx), "broker", "")
    assert (gone.answer, gone.open_since is not None) == ("yes", True)
    assert gone.reason.startswith("the broker at b:1883 has been out of reach for 7 min, as the running")
    line.at_ms += 3 * HOUR_MS
    with line.store.read() as tx:
        then = ask_explain(on(line, tx), "broker", "")
    assert (then.answer, then.turns_at) == ("blind", None)
    assert then.looked is not None
    assert then.looked.timestamp() * 1000 == seen_ms
    assert "it said “yes”: the broker at b:1883 has been out of reach for 7 min; none runs" in then.reason
    assert then.turns == "blind now: it is not over until it can be judged again"


def test_the_disk_and_what_was_given_up_are_looked_at_now(sqlite_store: Store, tmp_path: Path) -> None:
    line = Line(sqlite_store)
    line.run(CALM, 0.5)
    one_given_up(line)
    with line.store.read() as tx:
        ground = on(line, tx)
        ground = replace(ground, settings=replace(ground.settings, home=tmp_path))
        disk, parked = (ask_explain(ground, rule, "") for rule in ("disk", "parked"))
    assert disk.answer in ("yes", "no", "hold")
    assert "MB are free where the garden is kept" in disk.reason
    assert (parked.answer, parked.looked, disk.looked) == ("yes", None, None)
    assert "no such address" in parked.reason


def test_a_host_that_runs_but_has_not_looked_yet_is_said(sqlite_store: Store, tmp_path: Path) -> None:
    line = Line(sqlite_store)
    mark = RunningMark(tmp_path)
    mark.take()
    mark.write(START_MS, ("localhost", 1883))
    try:
        with line.store.read() as tx:
            ground = on(line, tx)
            ground = replace(ground, settings=replace(ground.settings, home=tmp_path))
            told = ask_explain(ground, "slow", "")
        assert "one runs, and will have looked in a few minutes" in told.reason
    finally:
        mark.release(START_MS)


def test_levels_for_a_crop_a_mix_or_a_stage_are_read_from_the_file(tmp_path: Path) -> None:
    (tmp_path / "settings.toml").write_text(
        "[dry]\nclose_above = 0.1\n[dry.crop.basil]\nline_times = 0.8\n"
        '[frost.mix."Mix 2.0"]\nwarmer_by_c = 2\n'
    )
    found = load(tmp_path, {})
    assert found.overrides == {"dry.crop.basil.line_times": 0.8, "frost.mix.Mix 2.0.warmer_by_c": 2.0}
    (tmp_path / "settings.toml").write_text(
        "[dry.crop.basil]\nline_times = 80\n[dry.stage.young]\nline_times = 1\n"
    )
    with pytest.raises(SettingsError, match=r"(?s)cannot be used.*there is no stage “young”"):
        load(tmp_path, {})
