"""`notices` on a real store: what is listed, the chain behind one, testing a channel, freeing one."""

import json
from dataclasses import replace

import pytest

from tests.cli.conftest import NOW_MS, CommandLine
from tests.links.mail_and_web import web_server
from tests.services.watched_garden import DRY, HOUR_MS, START_MS, WatchedGarden
from traywarden.domain.notices import NoticeState
from traywarden.store import notices as notice_store


@pytest.fixture
def told(run: CommandLine) -> CommandLine:
    """A garden in which tray A has been dry for an hour."""
    with run.store() as store:
        garden = WatchedGarden(store)
        garden.run(START_MS, START_MS + HOUR_MS, moisture=DRY)
    return run


def park(run: CommandLine) -> str:
    with run.store() as store, store.write() as tx:
        (notice,) = notice_store.in_states(tx, NoticeState.WAITING)
        notice_store.park(tx, notice.notice_id, "refused for good: no such address")
    return notice.notice_id


def test_what_waits_is_listed_and_what_was_sent_only_when_asked(told: CommandLine) -> None:
    (line,) = told.json("notices")["notices"]
    assert (line["title"], line["state"], line["channel"]) == (
        "Water now: A (open bench)",
        "waiting",
        "console",
    )
    assert (line["episodes"][0]["of"], line["episodes"][0]["subject"]) == ("tray", "A")
    with told.store() as store, store.write() as tx:
        notice_store.mark_sent(tx, line["notice_id"], NOW_MS)
    assert "Nothing waits. 1 sent so far" in told.ok("notices")
    assert "Water now: A (open bench)" in told.ok("notices", "--all")
    assert "Water now: A (open bench)" in told.ok("notices", "list", "--all")
    assert told.json("notices", "--all")["counts"] == {"sent": 1}


def test_an_empty_outbox_says_so(run: CommandLine) -> None:
    with run.store() as store:
        WatchedGarden(store)
    assert "No notices yet." in run.ok("notices")


def test_the_chain_runs_from_the_readings_to_the_attempts(told: CommandLine) -> None:
    notice_id = told.json("notices")["notices"][0]["notice_id"]
    chain = told.json("notices", "show", notice_id[:5])
    (link,) = chain["links"]
    assert link["question"] == "Does this tray need water now?"
    assert link["facts"]["moisture_m3_m3"] == DRY
    assert link["readings"][0]["moisture_m3_m3"] == DRY
    assert chain["notice"]["attempts"] == 0
    words = told.ok("notices", "show", notice_id)
    for part in ("probe-a/1", "0.200 m³/m³", "still so", "below the dry line", "attempts: 0"):
        assert part in words


def test_what_is_left_out_of_a_long_list_is_said(told: CommandLine) -> None:
    with told.store() as store, store.write() as tx:
        (notice,) = notice_store.in_states(tx, NoticeState.WAITING)
        notice_store.put(tx, [replace(notice, notice_id=f"more{n}") for n in range(3)])
    assert "The newest 2 of 4; all of them with --limit 4." in told.ok("notices", "--limit", "2")
    assert told.json("notices", "--limit", "2")["left_out"] == 2
    assert "The newest" not in told.ok("notices")


def test_a_rule_is_explained_with_its_times_in_words(told: CommandLine) -> None:
    said = told.ok("notices", "explain", "dry", "A")
    assert "Say of which tray “dry” is asked, such as “A”." in told.refused("notices", "explain", "dry")
    assert "  30 min: How long a tray must be below its dry line" in said
    assert "dry.open_delay_s, as delivered" in said
    assert "1800" not in said


def test_of_the_host_it_is_said_what_only_a_running_one_can_tell(told: CommandLine) -> None:
    slow = " ".join(told.ok("notices", "explain", "slow").split())
    assert "Blind: only a running host can tell" in slow
    assert "(start it: traywarden run)" in slow
    assert "5 s: Readings that take longer than this" in slow
    assert "MB are free where the garden is kept" in told.ok("notices", "explain", "disk")


def test_a_replay_counts_first_and_has_the_words_on_request(told: CommandLine) -> None:
    asked = ("notices", "replay", "--from", "2026-03-01", "--to", "2026-03-02", "--rule", "dry")
    counted = told.ok(*asked)
    assert counted.startswith("1 notice from 01 Mar 2026 to ")
    assert "Their words: --all." in counted
    assert "Water A" not in counted
    assert "Water A" in told.ok(*asked, "--all")
    answer = told.json(*asked)
    assert [day["notices"] for day in answer["by_day"]] == [len(answer["notices"])] == [1]
    assert [tray["tray"] for tray in answer["by_tray"] if tray["notices"]] == ["A"]


def test_all_rules_are_named_with_what_they_ask(run: CommandLine) -> None:
    said = run.ok("notices", "rules")
    assert "Does this tray need water now?" in " ".join(said.split())
    assert {"dry", "frost", "parked"} <= {line["rule"] for line in run.json("notices", "rules")}


def test_that_no_phone_is_reached_is_said_until_one_is(told: CommandLine) -> None:
    assert "reach nobody's phone yet" in told.ok("notices")
    (told.home / "settings.toml").write_text('[[channel]]\nname = "hook"\nurl = "json://localhost:9"\n')
    assert "reach nobody's phone yet" not in told.ok("notices")


def test_a_parked_notice_is_in_sight_and_can_be_tried_again(told: CommandLine) -> None:
    notice_id = park(told)
    shown = told.ok("notices")
    assert "parked" in shown
    assert "no such" in shown
    assert "notices retry" in shown
    assert "is due now" in told.ok("notices", "retry", notice_id[:6])
    assert told.json("notices")["notices"][0]["state"] == "waiting"
    assert "only a parked one" in told.refused("notices", "retry", notice_id)


def test_an_unknown_notice_is_refused_in_one_sentence(told: CommandLine) -> None:
    assert "There is no notice called “zzz”" in told.refused("notices", "show", "zzz")


def test_testing_a_channel_sends_at_once_and_tells_what_came_of_it(run: CommandLine) -> None:
    with web_server() as hook:
        run.home.mkdir(exist_ok=True)
        (run.home / "settings.toml").write_text(f'[[channel]]\nname = "hook"\nurl = "{hook.url()}"\n')
        assert "hook took it" in run.ok("notices", "test", "hook")
        assert hook.got[0]["title"] == "Traywarden: a test"
        hook.answers = [(403, {})]
        answer = run("notices", "test", "--all", "--json")
        assert answer.code == 8
        assert '"delivered": false' in answer.out
    assert "did you mean “hook”" in run.refused("notices", "test", "hok")
    assert "channels: console, hook" in run.refused("notices", "test")


def test_today_and_doctor_say_what_does_not_get_through(told: CommandLine) -> None:
    notice_id = park(told)
    said = told.ok("today")
    assert "1 notice does not get through over “console”" in said
    assert "refused for good: no such address" in said
    (untold,) = told.json("today")["untold"]
    assert (untold["channel"], untold["notices"]) == ("console", 1)
    (check,) = [c for c in json.loads(told("doctor", "--json").out)["checks"] if c["name"] == "notices"]
    assert check["ok"] is False
    assert "1 given up, 0 waiting over “console”: refused for good" in check["says"]
    told.ok("notices", "retry", notice_id)
    assert "get through" not in told.ok("today") or "waits for" in told.ok("today")
