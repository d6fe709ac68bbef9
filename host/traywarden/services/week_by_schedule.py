"""The week's report by schedule: made on the day and hour of the settings, its summary told as a notice.

A report's notice is known by its day and channel, and written with the others of its day in one transaction:
whatever is killed when, each is told once. The file is there before the notice that names it.
"""

import hashlib
import logging
import os
import re
import tempfile
import threading
from collections.abc import Callable
from datetime import date, datetime, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

from traywarden.domain.notice_words import Reader
from traywarden.domain.notices import Notice, NoticeState, passes
from traywarden.domain.units import Display
from traywarden.errors import ShortOfDataError, StoreError, UsageError
from traywarden.links.addresses import pages_address
from traywarden.services.clock import Clock
from traywarden.services.holding import Holding, Timing, no_shadow
from traywarden.services.outbox import targets
from traywarden.services.questions.ground import ground
from traywarden.services.questions.week import WeekAnswer, ask_week
from traywarden.settings import Settings
from traywarden.settings.weekly import NEVER, WEEKDAYS
from traywarden.store import garden as garden_store
from traywarden.store import notices as notice_store
from traywarden.store.store import Store, Tx
from traywarden.turns import Turns

log = logging.getLogger(__name__)
WeekFile = Callable[[WeekAnswer, Display], str]
FOLDER, WEEK = "weeks", "week"
NO_DIGEST_MS = 0
"""It is a digest itself: it came up so long ago that every digest since would have had it."""
LOOK_S = 30.0
LATE = timedelta(hours=48)
"""A report whose hour passed while the host did not run is made later, but no later than this."""
NOON = 12
MOST_NEEDS = 5
_ID = re.compile(r"week-(\d{4}-\d\d-\d\d)-[0-9a-f]{6}")


class WeekBySchedule:
    """Makes each report once. `week_file` writes it as a page; without it only the summary is told."""

    def __init__(
        self,
        store: Store,
        settings: Settings,
        clock: Clock,
        *,
        week_file: WeekFile | None = None,
        after_write: Callable[[], None] = lambda: None,
        turns: Turns | None = None,
    ) -> None:
        self._store, self._settings, self._clock = store, settings, clock
        self._week_file, self._after_write = week_file, after_write
        self._turns = turns or Turns()
        self._done: date | None = None

    def take(self, settings: Settings) -> None:
        """From the next look on it goes by these."""
        self._settings = settings

    def run(self, ending: threading.Event) -> None:
        """Look at the clock until `ending`."""
        while not ending.is_set():
            try:
                with self._turns.giving_way():
                    self.look()
            except StoreError as error:
                log.warning("the week's report waits: %s", error)
            ending.wait(LOOK_S)

    def look(self) -> date | None:
        """Make the report that is due, if one is; the last day of its week."""
        settings = self._settings
        if settings["week.day"] == NEVER:
            return None
        with self._store.read() as tx:
            garden = garden_store.the_garden(tx)
        now_ms = self._clock.now_ms()
        last = None if garden is None else due_week(settings, now_ms, ZoneInfo(garden.time_zone))
        if garden is None or last is None or last == self._done:
            return None
        channels = [name for name, least in targets(settings).items() if passes("info", least)]
        ids = {channel: notice_id(last, channel) for channel in channels}
        with self._store.read() as tx:
            missing = [channel for channel in channels if not notice_store.exists(tx, ids[channel])]
            if not missing:
                self._done = last
                return None
            missing = self._let_through(tx, settings, missing, now_ms, ZoneInfo(garden.time_zone))
            if not missing:
                return None
            on = ground(tx, garden, settings, now_ms)
            try:
                answer = ask_week(on, last)
            except (ShortOfDataError, UsageError) as error:
                log.info("no report of the week to %s: %s", last, error)
                return None
            display = on.display
        file = self._kept(answer, display)
        title = f"The week to {last:%A} {last.day} {last:%B}"
        body = summary(answer, settings, file)
        with self._store.write() as tx:
            notice_store.put(
                tx,
                [
                    Notice(ids[channel], channel, "info", title, body, (), now_ms, NoticeState.WAITING)
                    for channel in missing
                    if not notice_store.exists(tx, ids[channel])
                ],
            )
        self._done = last
        self._after_write()
        return last

    @staticmethod
    def _let_through(
        tx: Tx, settings: Settings, channels: list[str], now_ms: int, zone: ZoneInfo
    ) -> list[str]:
        """Those that hear of it now: not while all is hushed, nor in the quiet hours."""
        holding = Holding.now(tx, Timing.of(settings), Reader(now_ms, zone), no_shadow)
        return [c for c in channels if holding.why(c, "info", WEEK, (), NO_DIGEST_MS) is None]

    def _kept(self, answer: WeekAnswer, display: Display) -> Path | None:
        """The report as a file in the home folder; None where it cannot be made or written."""
        if self._week_file is None:
            return None
        path = week_path(self._settings.home, answer.last_day)
        try:
            text = self._week_file(answer, display)
            path.parent.mkdir(mode=0o700, exist_ok=True)
            handle, name = tempfile.mkstemp(dir=path.parent, prefix=".week-")
            with os.fdopen(handle, "w", encoding="utf-8") as file:
                file.write(text)
            Path(name).replace(path)
        except Exception as error:  # noqa: BLE001 - whatever ails the page, its summary is told
            log.warning("the week's report could not be kept in %s (%s)", path, error)
            return None
        return path


def due_week(settings: Settings, now_ms: int, zone: ZoneInfo) -> date | None:
    """The last day of the week whose report is due now; None before its hour, and long after it.

    Before noon it is of the seven days before; from noon on the day itself is its last.
    """
    if settings["week.day"] == NEVER:
        return None
    now = datetime.fromtimestamp(now_ms / 1000, zone)
    back = (now.weekday() - WEEKDAYS.index(settings["week.day"])) % 7
    hour: int = settings["week.hour"]
    for days in (back, back + 7):
        day = now.date() - timedelta(days=days)
        at = datetime(day.year, day.month, day.day, hour, tzinfo=zone)
        if at.timestamp() <= now.timestamp():
            if now.timestamp() - at.timestamp() > LATE.total_seconds():
                return None
            return day if hour >= NOON else day - timedelta(days=1)
    return None


def summary(answer: WeekAnswer, settings: Settings, file: Path | None) -> str:
    """What a report says in short, and where the whole of it is."""
    lines = [answer.sentence, *(comparison.sentence for comparison in answer.comparisons)]
    coming = [f"{c.subject}: {c.says}" if c.subject else c.says for c in answer.coming][:MOST_NEEDS]
    if coming:
        lines.append("What comes: " + "; ".join(words.rstrip(".") for words in coming) + ".")
    if address := settings["notices.address"].rstrip("/") or pages_address(settings).rstrip("/"):
        lines.append(f"The whole report: {address}/week?ending={answer.last_day}")
    if file is not None:
        lines.append(f"Kept as {file}")
    return "\n".join(lines)


def notice_id(last: date, channel: str) -> str:
    """The same for the same week and channel, whoever makes it and however often."""
    return f"week-{last}-{hashlib.sha256(channel.encode()).hexdigest()[:6]}"


def attachment_of(home: Path, notice: str) -> Path | None:
    """The report that goes with a notice, where it is a report's and its file is there."""
    found = _ID.fullmatch(notice)
    path = home / FOLDER / f"week-{found[1]}.html" if found else None
    return path if path is not None and path.is_file() else None


def week_path(home: Path, last: date) -> Path:
    return home / FOLDER / f"week-{last}.html"
