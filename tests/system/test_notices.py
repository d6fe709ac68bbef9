"""From a probe's publish to the grower's mailbox, through the real host in a process of its own."""

import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

from tests.links.mail_and_web import mail_server, web_server
from tests.system.brokers import free_port
from tests.system.hosts import HostProcess, made_home
from traywarden.domain.journal import Kind
from traywarden.domain.notices import NoticeState
from traywarden.domain.readings import Reading
from traywarden.links.publisher import ProbePublisher
from traywarden.services.publishing import probe_publisher
from traywarden.settings import Settings, add_channel, change_settings
from traywarden.store import garden as garden_store
from traywarden.store import journal, probes
from traywarden.store import notices as notice_store
from traywarden.store.store import Store

pytestmark = [pytest.mark.system, pytest.mark.timeout(180)]
MINUTE_MS = 60_000
WAIT_S = 60.0


def home_with_tray(folder: Path, port: int, *urls: str) -> Settings:
    """A garden whose tray A stands dry-prone under probe bench-1, and a channel for each url."""
    settings = made_home(folder, broker__port=port, notices__first_retry_s=0.2, notices__longest_retry_s=0.5)
    with (folder / "settings.toml").open("a", encoding="utf-8") as file:
        for number, url in enumerate(urls):
            file.write(f'[[channel]]\nname = "out{number}"\nurl = "{url}"\n')
    at = time.time_ns() // 1_000_000 - 86_400_000
    with Store.open(settings.store_url) as store, store.write() as tx:
        place = garden_store.add_place(tx, "open bench", "open bench")
        mix = garden_store.add_mix(tx, "peat", {"peat": 1}, 0.55, 0.25)
        tray_id = garden_store.add_tray(tx, "A", litres=3.0).tray_id
        ((_, head_id),) = probes.ensure_heads(tx, [("bench-1", 1)], at).items()
        journal.write(tx, Kind.FILLED, at, at, tray_id=tray_id, mix_id=mix.mix_id)
        journal.write(tx, Kind.MOVED, at, at, tray_id=tray_id, place_id=place.place_id)
        journal.write(tx, Kind.HEAD_PLACED, at, at, tray_id=tray_id, head_id=head_id)
    return settings


@contextmanager
def probe(port: int, name: str = "bench-1") -> Iterator[ProbePublisher]:
    publisher = probe_publisher("127.0.0.1", port, "demo", name, instants_per_pack=4)
    publisher.connect()
    try:
        yield publisher
    finally:
        publisher.close()


def hour_of(moisture: float, first_sequence: int, end_ms: int) -> list[Reading]:
    """An hour of readings every five minutes, the last one at `end_ms`."""
    return [
        Reading(
            "bench-1",
            1,
            1,
            first_sequence + n,
            end_ms - (11 - n) * 5 * MINUTE_MS,
            0,
            soil_temp_c=18.0,
            moisture_m3_m3=moisture,
        )
        for n in range(12)
    ]


def until(holds: Callable[[], object], what: str) -> None:
    deadline_s = time.monotonic() + WAIT_S
    while not holds():
        assert time.monotonic() < deadline_s, what
        time.sleep(0.05)


def test_a_dry_reading_published_over_mqtt_reaches_mailbox_webhook_and_console(tmp_path: Path) -> None:
    port, now_ms = free_port(), time.time_ns() // 1_000_000
    with mail_server() as inbox, web_server() as hook:
        home_with_tray(tmp_path / "home", port, inbox.url(), hook.url())
        with HostProcess(tmp_path / "home") as host, probe(port) as publisher:
            publisher.send(hour_of(0.20, 0, now_ms))
            until(lambda: inbox.mails and hook.got, "no notice came")
            until(lambda: "Water now: A (open bench)" in host.said, "the console is silent")
            assert host.end() == 0
    (mail,) = inbox.mails
    assert mail["Subject"] == "Water now: A (open bench)"
    assert "peat is at 36 % of container capacity (0.200 m³/m³)" in mail.get_content()
    assert "About 1.1 l" in mail.get_content()  # 3 l × (0.55 − 0.20)
    assert mail["X-Traywarden-Notice"] != hook.got[0]["notice_id"]  # each channel has its own notice


def test_settings_changed_while_it_runs_hold_within_seconds_and_nothing_is_told_twice(tmp_path: Path) -> None:
    """A channel comes, the delay is changed while a tray is dry, and the tray is watered by rain."""
    port, now_ms = free_port(), time.time_ns() // 1_000_000
    home = tmp_path / "home"
    with web_server() as hook:
        home_with_tray(home, port)
        with HostProcess(home, lean=True) as host, probe(port) as publisher:

            def taken(times: int) -> bool:
                return host.said.count("The settings have changed") == times

            add_channel(home, "hook", hook.url(), "info")
            until(lambda: taken(1), "the channel was not taken")
            publisher.send(hour_of(0.20, 0, now_ms - 10 * MINUTE_MS))
            assert hook.wait_for(1, timeout_s=WAIT_S), "the new channel is silent"
            change_settings(home, {"dry.close_delay_s": 60.0})
            until(lambda: taken(2), "the delay was not taken")
            with (home / "settings.toml").open("a", encoding="utf-8") as file:
                file.write("[dry.stage.seedlng]\nopen_delay_s = 1\n")
            until(lambda: "the host goes on as before" in host.said, "a slip was not said")
            publisher.send(hour_of(0.50, 12, now_ms)[-2:])
            assert hook.wait_for(2, timeout_s=WAIT_S), "its end was not told by the new delay"
            assert host.end() == 0
    told = [got["title"] for got in hook.got]
    assert told == ["Water now: A (open bench)", "Over: water now, A (open bench)"]


def test_a_notice_survives_kill_9_and_a_mail_server_that_is_down(tmp_path: Path) -> None:
    """Nothing is lost: the change of the episode and its notices were one transaction."""
    port, now_ms = free_port(), time.time_ns() // 1_000_000
    with mail_server() as gone:
        url = gone.url()  # nobody listens there any more once this block is left
        mail_port = gone.port
    settings = home_with_tray(tmp_path / "home", port, url)
    host = HostProcess(tmp_path / "home", lean=True)
    with Store.open(settings.store_url) as store:

        def tried() -> bool:
            with store.read() as tx:
                found = notice_store.in_states(tx, NoticeState.WAITING)
            return any(n.channel == "out0" and n.attempts > 0 for n in found)

        host.start()
        try:
            with probe(port) as publisher:
                publisher.send(hour_of(0.20, 0, now_ms))
                until(tried, "the mail was never tried")
        finally:
            host.kill()
        with store.read() as tx:
            (waiting,) = (n for n in notice_store.listed(tx, 9) if n.channel == "out0")
        assert "Connection refused" in waiting.trouble
        with mail_server(mail_port) as inbox, host:
            until(lambda: inbox.mails, "the mail never came")
            assert host.end() == 0
        assert inbox.mails[0]["X-Traywarden-Notice"] == waiting.notice_id
        with store.read() as tx:
            assert notice_store.notice_named(tx, waiting.notice_id).state is NoticeState.SENT


SPELL_S = 25.0
IMPATIENT = f"from traywarden.services import spells; spells.SILENT_S = {SPELL_S}\n"
"""A tray counts as having sent all it had after a minute, here after less: five times as long as the host
passes nothing on in a rush. The minute itself is in tests/services/test_watch.py."""
STILL_DRY = "tray 8"


def home_with_eight_trays(folder: Path, port: int, begin_ms: int, *urls: str) -> None:
    """Two probes of four heads each, every head in a tray of its own, and a channel for each url."""
    settings = home_with_tray(folder, port, *urls)
    with Store.open(settings.store_url) as store, store.write() as tx:
        mix_id = garden_store.mix_named(tx, "peat").mix_id
        names = [(f"far-{probe}", head) for probe in (1, 2) for head in (1, 2, 3, 4)]
        heads = probes.ensure_heads(tx, names, begin_ms)
        for number, name in enumerate(names, 1):
            tray_id = garden_store.add_tray(tx, f"tray {number}").tray_id
            at = begin_ms
            journal.write(tx, Kind.FILLED, at, at, tray_id=tray_id, mix_id=mix_id)
            journal.write(tx, Kind.HEAD_PLACED, at, at, tray_id=tray_id, head_id=heads[name])


def two_weeks_of(probe_name: str, first_tray: int, begin_ms: int) -> list[Reading]:
    """Dry every afternoon, watered every evening, every ten minutes; one tray is dry since the day before.

    It dries within two hours: a fall at once is that of a head pulled out.
    """
    found = []
    for n in range(14 * 144):
        for head in (1, 2, 3, 4):
            forgotten = f"tray {first_tray + head - 1}" == STILL_DRY and n >= 12 * 144 + 72
            dried = 12 if forgotten else min(12, max(0, n % 144 - 60)) if n % 144 < 108 else 0
            at_ms = begin_ms + n * 10 * MINUTE_MS
            wet = 0.45 - 0.25 * dried / 12
            found.append(Reading(probe_name, head, 1, n, at_ms, 0, soil_temp_c=18.0, moisture_m3_m3=wet))
    return found


def test_two_weeks_of_eight_trays_uploaded_at_once_make_one_digest_and_what_still_holds_is_told_once(
    tmp_path: Path,
) -> None:
    """16,128 readings in one go, from probes that were out of reach."""
    port, now_ms = free_port(), time.time_ns() // 1_000_000
    begin_ms = now_ms - 14 * 86_400_000 + 10 * MINUTE_MS
    with web_server() as one, web_server() as other:
        home_with_eight_trays(tmp_path / "home", port, begin_ms, one.url(), other.url())
        with (
            HostProcess(tmp_path / "home", lean=True, before=IMPATIENT) as host,
            probe(port, "far-1") as first,
            probe(port, "far-2") as second,
        ):
            readings = [two_weeks_of("far-1", 1, begin_ms), two_weeks_of("far-2", 5, begin_ms)]
            assert sum(map(len, readings)) == 16_128
            for publisher, mine in zip((first, second), readings, strict=True):
                publisher.send(mine)
            assert first.drain(60)
            assert second.drain(60)
            for hook in (one, other):
                assert hook.wait_for(2, timeout_s=90), f"only {hook.got} came"
            time.sleep(3.0)  # is there more?
            assert host.end() == 0
    for hook in (one, other):
        assert sorted(got["title"] for got in hook.got) == [
            f"Water now: {STILL_DRY}",
            f"While you were away: {7 * 14 + 12} needs came and went",
        ]
