"""Is everything in order? Versions, settings, store, broker, probes and notices, each with its remedy."""

import platform
import shutil
import sys
from dataclasses import dataclass
from datetime import UTC, datetime
from importlib.metadata import PackageNotFoundError, version
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

from traywarden import __version__
from traywarden.domain.notices import NoticeState
from traywarden.domain.units import span_words
from traywarden.errors import BrokerError, StoreError
from traywarden.links.reach import reach_broker
from traywarden.services.channel_health import channel_troubles
from traywarden.services.level_names import idle_levels
from traywarden.services.probe_cards import HeadCard, ProbeCard, probe_cards
from traywarden.services.running import running_host
from traywarden.services.upkeep import days_waiting
from traywarden.settings import Settings
from traywarden.store import garden as garden_store
from traywarden.store import notices as notice_store
from traywarden.store import packed as packed_store
from traywarden.store import quarantine as quarantine_store
from traywarden.store import readings as reading_store
from traywarden.store.health import health
from traywarden.store.store import Store

LIBRARIES = ("amqtt", "apprise", "numpy", "paho-mqtt", "pandas", "scipy", "sqlalchemy", "vl-convert-python")
MANY_DAYS_UNPACKED = 500
"""So many days take a question half a second and more to read one by one."""
LEAST_FREE_BYTES = 200 * 1024 * 1024
UNSENT_LATE_S = 600.0
"""A notice unsent for longer than this is trouble: retries begin after half a minute."""


@dataclass(frozen=True, slots=True)
class Check:
    """One thing looked at: what was found, and what to do where it is not in order."""

    name: str
    ok: bool
    says: str
    remedy: str = ""


@dataclass(frozen=True, slots=True)
class ProbeLine:
    """One probe: its last reading, and whether anybody waits for the next."""

    probe: str
    last_reading: datetime | None
    silent_s: float | None
    battery_v: float | None
    heads: tuple[str, ...]
    quiet: bool


@dataclass(frozen=True, slots=True)
class DoctorAnswer:
    version: str
    python: str
    libraries: dict[str, str]
    home: str
    settings: dict[str, Any]
    checks: tuple[Check, ...]
    probes: tuple[ProbeLine, ...]

    @property
    def well(self) -> bool:
        return all(check.ok for check in self.checks)


def ask_doctor(settings: Settings, now_ms: int) -> DoctorAnswer:
    """Look at everything once. Trouble is in the answer; nothing is raised for it, nothing is changed."""
    checks = [_broker(settings)]
    probes: tuple[ProbeLine, ...] = ()
    if _not_made_yet(settings):
        checks.append(Check("store", True, "not made yet; the first command that writes makes it"))
    else:
        try:
            with Store.open(settings.store_url) as store:
                checks.append(_store(store))
                probes = _with_store(store, settings, now_ms, checks)
        except StoreError as error:
            checks.append(Check("store", False, str(error)))
    if disk := _disk(settings.home):
        checks.append(disk)
    return DoctorAnswer(
        __version__,
        f"{platform.python_version()} on {platform.system()} {platform.machine()}, {Path(sys.executable)}",
        {name: _version(name) for name in LIBRARIES},
        str(settings.home),
        settings.masked(),
        tuple(checks),
        probes,
    )


def _version(name: str) -> str:
    try:
        return version(name)
    except PackageNotFoundError:
        return "missing"


def _not_made_yet(settings: Settings) -> bool:
    url = settings.store_url
    return url.startswith("sqlite:///") and not Path(url.removeprefix("sqlite:///")).exists()


def _broker(settings: Settings) -> Check:
    """Talk to the broker where it should be; the built-in one lives only while the host runs."""
    host, port = settings["broker.host"], settings["broker.port"]
    kind = "broker"
    if settings["broker.builtin"]:
        kind = "built-in broker"
        running = running_host(settings.home)
        if running is None:
            says = f"the host does not run in {settings.home}, so the built-in broker takes no readings"
            return Check("host", False, says, "start it with “traywarden run”")
        host, port = running.broker_host, running.broker_port
    try:
        reach_broker(settings, host, port)
    except BrokerError as error:
        return Check(kind, False, str(error), "start it, or correct broker.host and broker.port")
    return Check(kind, True, f"answers at {host}:{port}")


def _store(store: Store) -> Check:
    found = health(store)
    size = f"{found.size_bytes / 1_048_576:.1f} MiB"
    says = f"{found.where}: {found.readings:,} readings, {size}, schema {found.revision}, writable"
    if found.trouble:
        remedy = "stop the host and bring back the last backup"
        return Check("store", False, f"{found.where} is damaged: {found.trouble}", remedy)
    return Check("store", True, says)


def _with_store(store: Store, settings: Settings, now_ms: int, checks: list[Check]) -> tuple[ProbeLine, ...]:
    with store.read() as tx:
        garden = garden_store.the_garden(tx)
        if settings["host.clock"] == "readings":
            now_ms = max(reading_store.newest_credible(tx).values(), default=now_ms)
        cards = probe_cards(tx, now_ms)
        held = quarantine_store.listed(tx, 1)
        unread = quarantine_store.count(tx)
        notices = notice_store.counts(tx)
        unsent = notice_store.oldest_unsent(tx)
        troubles = channel_troubles(tx, settings, now_ms)
        unpacked = days_waiting(tx, settings, now_ms)
        packed = packed_store.count(tx)
        idle = idle_levels(tx, settings)
    zone = ZoneInfo(garden.time_zone) if garden else UTC
    if garden is None:
        remedy = 'make one with: traywarden garden set "My garden" --time-zone Europe/Lisbon'
        checks.append(Check("garden", False, "there is no garden yet", remedy))
    else:
        checks.append(Check("garden", True, f"{garden.name}, {garden.time_zone}, topics under {garden.slug}"))
    lines = tuple(_probe(card, zone, now_ms, settings["notices.blind_after_s"]) for card in cards)
    checks.append(_probes(lines, cards))
    checks.append(_summaries(packed, unpacked))
    if settings.overrides:
        checks.append(_levels(idle, len(settings.overrides)))
    if held:
        says = f"{unread} kept; the last one on “{held[0].topic}”: {held[0].reason}"
        remedy = "correct what sends it; nothing that was readable is lost"
        checks.append(Check("unreadable messages", False, says, remedy))
    else:
        checks.append(Check("unreadable messages", True, "none"))
    sent = notices.get(NoticeState.SENT, 0)
    late_s = (now_ms - unsent.created_ms) / 1000 if unsent else 0.0
    for each in troubles:
        told = f"{each.parked} given up, {each.waiting} waiting over “{each.channel}”: {each.why}"
        checks.append(Check("notices", False, told, f"{each.do}; see: traywarden notices --help"))
    if not troubles:
        waiting = f"; the oldest unsent waits for {span_words(late_s)}" if unsent else ", none unsent"
        checks.append(Check("notices", True, f"{sent} sent{waiting}"))
    return lines


def _summaries(packed: int, unpacked: int) -> Check:
    """Whether what questions over a season read has kept up with the readings."""
    if unpacked > MANY_DAYS_UNPACKED:
        says = f"{unpacked:,} days are not packed yet, so questions over months take longer than they need"
        return Check("summaries", False, says, "let the host run for a while, or: traywarden upkeep")
    behind = f"; {unpacked:,} more wait for it" if unpacked else ""
    return Check("summaries", True, f"{packed:,} days packed{behind}")


def _levels(idle: list[str], given: int) -> Check:
    """Whether all that is given for one crop, mix or stage is given for one that there is."""
    if idle:
        return Check("levels", False, " ".join(idle), "correct the name in settings.toml, or take it out")
    return Check("levels", True, f"{given} given for one crop, mix or stage")


def _probe(card: ProbeCard, zone: ZoneInfo | Any, now_ms: int, blind_after_s: float) -> ProbeLine:
    last_ms = max((h.last_reading_ms for h in card.heads if h.last_reading_ms is not None), default=None)
    silent_s = None if last_ms is None else (now_ms - last_ms) / 1000
    placed = [h for h in card.heads if h.tray or h.place]
    return ProbeLine(
        card.probe,
        None if last_ms is None else datetime.fromtimestamp(last_ms / 1000, zone),
        silent_s,
        card.battery_v,
        tuple(_whereabouts(head) for head in card.heads),
        bool(placed) and not card.imported and (silent_s is None or silent_s > blind_after_s),
    )


def _whereabouts(head: HeadCard) -> str:
    if head.waiting:
        return f"{head.head} waiting to be placed"
    return f"{head.head} in {head.tray or head.place}" if head.tray or head.place else head.head


def _probes(lines: tuple[ProbeLine, ...], cards: list[ProbeCard]) -> Check:
    if not lines:
        return Check("probes", True, "none has reported yet")
    quiet = [line for line in lines if line.quiet]
    waiting = [head.head for card in cards for head in card.heads if head.waiting]
    offer = f"; waiting to be placed: {', '.join(waiting)}" if waiting else ""
    if quiet:
        named = ", ".join(
            f"{line.probe} for {span_words(line.silent_s)}" if line.silent_s is not None else line.probe
            for line in quiet
        )
        remedy = "look at battery and Wi-Fi; a probe that rests for good: traywarden probe take-out"
        return Check("probes", False, f"silent: {named}{offer}", remedy)
    return Check("probes", True, f"{len(lines)} known, none of those in use silent{offer}")


def _disk(home: Path) -> Check | None:
    folder = next((p for p in (home, *home.parents) if p.exists()), None)
    if folder is None:
        return None
    free = shutil.disk_usage(folder).free
    says = f"{free / 1_073_741_824:.1f} GiB free for {home}"
    return Check("disk", free >= LEAST_FREE_BYTES, says, "" if free >= LEAST_FREE_BYTES else "make room")
