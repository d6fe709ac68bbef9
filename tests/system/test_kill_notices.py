"""The host is killed at every named point of judging and telling; afterwards every change has been told.

The points are read from the source, so a new one is killed at too; one that the lives here never come to
fails the test. TRAYWARDEN_POINT_ROUNDS says how often each (default once), TRAYWARDEN_SEED repeats a run.
"""

import os
import random
import time
from collections import Counter
from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager, suppress
from pathlib import Path

import pytest

from tests.links.mail_and_web import Hook, web_server
from tests.named_points import named_points
from tests.system.brokers import free_port
from tests.system.hosts import HostProcess, Nursery, made_home
from traywarden.domain.episodes import ChangeKind, Episode
from traywarden.domain.journal import Kind
from traywarden.domain.notices import Notice, NoticeState
from traywarden.domain.readings import Reading
from traywarden.errors import BrokerError
from traywarden.links.publisher import ProbePublisher
from traywarden.points import ASKED_BY
from traywarden.services.spells import SILENT_S
from traywarden.store import episodes as episode_store
from traywarden.store import garden as garden_store
from traywarden.store import journal, probes
from traywarden.store import notices as notice_store
from traywarden.store.store import Store
from traywarden.wire import packs, topics

pytestmark = [pytest.mark.system, pytest.mark.timeout(600)]
ROUNDS = int(os.environ.get("TRAYWARDEN_POINT_ROUNDS", "1"))
MINUTE_MS = 60_000
STEP_MS = 5 * MINUTE_MS
WET, DRY = 0.45, 0.20
DRY_FROM_MS, WET_FROM_MS = 50 * MINUTE_MS, 15 * MINUTE_MS
SOON_S = 30.0
LET_GO_S = SOON_S + SILENT_S
"""What came and went is let go once its tray has been silent for so long, as in the first of all lives."""
BREAKS_OFF, ALL_AT_ONCE = 1, 2
"""Heads of each probe: of one the dry readings come first and the wet ones when its notice is out; of the
other all come in one pack, so that its episode has ended when it is found out."""


POINTS = [name for _, name in named_points()]


def test_each_point_has_a_name_of_its_own() -> None:
    assert len(POINTS) > 10
    assert len(set(POINTS)) == len(POINTS)


class _Garden:
    """A home with two trays for each life, and the publishers that stand for their probes."""

    def __init__(self, folder: Path, url: str, lives: int) -> None:
        self.port, self.now_ms = free_port(), time.time_ns() // 1_000_000
        settings = made_home(
            folder,
            broker__port=self.port,
            notices__console=False,
            notices__first_retry_s=0.05,
            notices__longest_retry_s=0.2,
            notices__most_attempts=100,
            notices__remind_after_s=1.0,
        )
        with (folder / "settings.toml").open("a", encoding="utf-8") as file:
            file.write(f'[[channel]]\nname = "hook"\nurl = "{url}"\n')
        self.url = settings.store_url
        at = self.now_ms - 86_400_000
        self.trays: dict[tuple[int, int], int] = {}
        with Store.open(self.url) as store, store.write() as tx:
            mix = garden_store.add_mix(tx, "peat", {"peat": 1}, 0.55, 0.25)
            keys = [(life, head) for life in range(lives) for head in (BREAKS_OFF, ALL_AT_ONCE)]
            heads = probes.ensure_heads(tx, [(f"probe-{life}", head) for life, head in keys], at)
            for life, head in keys:
                tray_id = garden_store.add_tray(tx, f"tray {life}/{head}").tray_id
                self.trays[life, head] = tray_id
                head_id = heads[f"probe-{life}", head]
                journal.write(tx, Kind.FILLED, at, at, tray_id=tray_id, mix_id=mix.mix_id)
                journal.write(tx, Kind.HEAD_PLACED, at, at, tray_id=tray_id, head_id=head_id)

    def publisher(self, life: int) -> ProbePublisher:
        name = f"probe-{life}"
        return ProbePublisher(
            "127.0.0.1",
            self.port,
            readings_topic=topics.readings_topic("demo", name),
            receipt_topic=topics.receipt_topic("demo", name),
            encode=lambda readings, oldest: packs.pack_from_readings(readings, oldest=oldest),
            client_id=name,
            instants_per_pack=64,
            silence_s=2.0,
            longest_backoff_s=0.1,  # back before the next kill
        )

    def readings(self, life: int, head: int, *, dry: bool) -> list[Reading]:
        start_ms, end_ms = (DRY_FROM_MS, WET_FROM_MS) if dry else (WET_FROM_MS, -1)
        return [
            Reading(
                f"probe-{life}",
                head,
                1 if dry or head == ALL_AT_ONCE else 2,  # the wet ones that come later: after a reset
                (DRY_FROM_MS - back_ms) // STEP_MS,
                self.now_ms - back_ms,
                0,
                soil_temp_c=18.0,
                moisture_m3_m3=DRY if dry else WET,
            )
            for back_ms in range(start_ms, end_ms, -STEP_MS)
        ]

    def kept(self) -> tuple[list[Episode], list[Notice]]:
        with Store.open(self.url) as store, store.read() as tx:
            return episode_store.episodes(tx), notice_store.in_states(tx, *NoticeState)


@contextmanager
def _probes(garden: _Garden, lives: int) -> Iterator[list[ProbePublisher]]:
    with ExitStack() as stack:
        yield [stack.enter_context(garden.publisher(n)) for n in range(lives)]


def _soon(holds: Callable[[], object], timeout_s: float = SOON_S) -> bool:
    until_s = time.monotonic() + timeout_s
    while not holds():
        if time.monotonic() > until_s:
            return False
        time.sleep(0.01)
    return True


def _live(garden: _Garden, host: HostProcess, hook: Hook, publisher: ProbePublisher, life: int) -> None:
    """One host's life: it is given what brings it to every point, and dies at the one it was told."""
    with hook.changed:
        hook.answers[:] = [(500, {})]  # so that a failure is written down as well
    publisher.send(
        garden.readings(life, BREAKS_OFF, dry=True)
        + garden.readings(life, ALL_AT_ONCE, dry=True)
        + garden.readings(life, ALL_AT_ONCE, dry=False)
    )
    began_told = f"Water now: tray {life}/{BREAKS_OFF}"
    point = host.environ[ASKED_BY]
    reminds = point.startswith("reminders")
    if reminds:  # of what a host before has told, so this takes a life more
        host.environ[ASKED_BY] = ""
    host.spawn()
    with suppress(BrokerError):  # it goes on trying
        publisher.connect(0.0)
    _soon(lambda: host.code() is not None or began_told in {g["title"] for g in hook.taken})
    if reminds:
        time.sleep(1.0)
        host.kill()
        host.environ[ASKED_BY] = point
        host.spawn()
        _soon(lambda: host.code() is not None)
    publisher.send(garden.readings(life, BREAKS_OFF, dry=False))
    assert _soon(lambda: host.code() is not None, LET_GO_S), (
        f"never came to “{host.environ[ASKED_BY]}”: {host.said}"
    )
    assert host.code() == -9, host.said


def _check(episodes: list[Episode], notices: list[Notice], hook: Hook, garden: _Garden) -> Counter[str]:
    """Everyone was told of every change, of each by one notice however often it came."""
    told = {n.notice_id: n.changes for n in notices}
    deliveries = Counter(got["notice_id"] for got in hook.taken)
    assert {n.state for n in notices} == {NoticeState.SENT}
    assert deliveries.keys() == told.keys()
    first: dict[tuple[str, ChangeKind], int] = {}
    teller: dict[tuple[str, ChangeKind], str] = {}
    for number, got in enumerate(hook.taken):
        for change in told[got["notice_id"]]:
            first.setdefault(change, number)
            if change[1] is ChangeKind.REMINDED:
                continue  # again and again, by a notice each
            assert teller.setdefault(change, got["notice_id"]) == got["notice_id"], f"{change} by two notices"
    assert sorted(e.subject.number for e in episodes) == sorted(garden.trays.values())
    for episode in episodes:
        name = episode.episode_id
        assert (episode.opened_ms, episode.closed_ms) == (
            garden.now_ms - DRY_FROM_MS,
            garden.now_ms - WET_FROM_MS,
        )
        began, ended = first.get((name, ChangeKind.OPENED)), first.get((name, ChangeKind.CLOSED))
        assert (name, ChangeKind.PAST) in first or (began is not None and ended is not None), name
        assert began is None or ended is None or began < ended, f"{name}: its end was told first"
    return deliveries


def test_killed_at_any_named_point_every_change_is_told_and_doubles_have_the_same_id(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    seed = int(os.environ.get("TRAYWARDEN_SEED", random.randrange(1 << 32)))
    print(f"TRAYWARDEN_SEED={seed} repeats this run")
    order = POINTS * ROUNDS
    random.Random(seed).shuffle(order)
    with web_server() as hook, Nursery("apprise") as nursery:
        garden = _Garden(tmp_path / "home", hook.url(), len(order))
        host = HostProcess(tmp_path / "home", nursery=nursery)
        with _probes(garden, len(order)) as publishers:
            for life, point in enumerate(order):
                host.environ[ASKED_BY] = point
                _live(garden, host, hook, publishers[life], life)
            host.environ[ASKED_BY] = ""
            with host:
                for publisher in publishers:
                    assert publisher.drain(SOON_S), publisher.trouble

                def over() -> bool:
                    episodes, notices = garden.kept()
                    ended = len(episodes) == len(garden.trays) and all(e.closed_ms for e in episodes)
                    return ended and all(n.state is NoticeState.SENT for n in notices)

                assert _soon(over), f"{garden.kept()}\n{host.said}"
                assert host.end() == 0
        episodes, notices = garden.kept()
        deliveries = _check(episodes, notices, hook, garden)
    doubled = sum(n > 1 for n in deliveries.values())
    with capsys.disabled():
        print(
            f"\n{len(order)} kills at {len(POINTS)} points: {len(episodes)} episodes, "
            f"{len(notices)} notices, {doubled} given more than once, always with the same id"
        )
    assert doubled > 0  # killed between the channel's word and its being written down
