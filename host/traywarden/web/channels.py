"""Where notices go, and when they are quiet: ways added without knowing how their addresses are written."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

from traywarden.domain.notices import takes_words
from traywarden.domain.severities import SEVERITIES
from traywarden.domain.telling_times import AT_ONCE, clock_time
from traywarden.errors import ChannelError, UnknownNameError, UsageError
from traywarden.links.channel_address import Mail, kind_words, mail_address, web_address
from traywarden.links.channels import understood
from traywarden.services.channel_test import send_test
from traywarden.services.ways_out import ways_out
from traywarden.settings import (
    Settings,
    add_channel,
    change_channel,
    change_settings,
    fixed_by,
    load,
    remove_channel,
)
from traywarden.store import notices as notice_store
from traywarden.web.face import FROM_NOW, Face
from traywarden.web.writing import Written

REMINDERS = ("notices.remind_after_s", "notices.longest_remind_s")
LINKS = ("notices.address",)
QUIET = ("notices.quiet_from", "notices.quiet_until")


@dataclass(frozen=True, slots=True)
class Way:
    """A way out as the page shows it: of a channel's address nothing but what sort it is."""

    name: str
    kind: str
    least_severity: str
    digest: str

    @property
    def takes(self) -> str:
        return takes_words(self.least_severity)


def channels(settings: Settings) -> list[Way]:
    return [Way(c.name, kind_words(c.url.reveal()), c.least_severity, c.digest) for c in settings.channels]


def ways(settings: Settings) -> dict[str, Way]:
    """Every way out by name: the console and the broker's topic too."""
    return {name: Way(name, "", *asked) for name, asked in settings.ways_out.items()}


def choices() -> list[tuple[str, str]]:
    """What a channel can be asked to take: as it is kept, and in words."""
    return [(severity, takes_words(severity)) for severity in SEVERITIES]


def sorted_out(topics: Sequence[Any]) -> Mapping[str, Any]:
    """The sections of the page Notices: what is set often by itself, the rest to fold away."""
    by_section = {topic.section: topic for topic in topics}
    whole = by_section["notices"]
    named = {
        "quiet": ("Quiet hours", QUIET),
        "reminders": ("Reminders", REMINDERS),
        "links": ("Links in notices", LINKS),
    }
    found = {
        name: replace(whole, title=title, rows=tuple(r for r in whole.rows if r.setting.key in keys))
        for name, (title, keys) in named.items()
    }
    shown = {*REMINDERS, *LINKS, *QUIET}
    rest = tuple(row for row in whole.rows if row.setting.key not in shown)
    return {**by_section, **found, "notices": replace(whole, title="How they go out", rows=rest)}


def quiet_now(settings: Settings) -> tuple[str, str]:
    """Both ends of the quiet hours as a field for a clock time wants them; empty where there are none."""
    begin, end = (clock_time(settings[key]) for key in QUIET)
    return ("", "") if begin is None or end is None else (f"{begin:%H:%M}", f"{end:%H:%M}")


def reaches_nobody(face: Face) -> str:
    """That notices reach no phone yet; empty where they do."""
    told = face.settings.channels or face.settings["notices.mqtt"]
    return "" if told else "Notices reach only this page"


def test(face: Face, written: Written) -> str:
    with face.asking() as on:
        known = ways_out(load(face.settings.home), print, on.garden.slug)
    name = written.text("channel")
    if name not in known:
        raise UnknownNameError("channel", name, known)
    told = send_test(known[name], face.now_ms())
    if not told.delivered:
        raise ChannelError(f"“{name}” did not take the test: {told.reason}")
    return f"“{name}” took the test; see whether it arrived."


def add(face: Face, written: Written) -> str:
    name = written.text("name")
    least, digest = _asked(written)
    url = _address(written)
    try:
        understood(name, url)
    except ChannelError as error:
        raise UsageError(str(error)) from error
    face.take(add_channel(face.settings.home, name, url, least, digest))
    arrives = "Send a test to see that it arrives."
    return f"Kept: “{name}” takes {takes_words(least)}, {digest}. {FROM_NOW} {arrives}"


def _address(written: Written) -> str:
    kind = written.text("kind")
    if kind == "mail":
        mail = Mail(
            written.text("server"),
            written.text("to"),
            written.text("account"),
            written.text("password"),
            written.text("sender"),
            written.text("way") or "starttls",
            written.whole("port"),
        )
        return mail_address(mail)
    return web_address(written.text("url")) if kind == "web" else written.text("url")


def change(face: Face, written: Written) -> str:
    name = written.text("channel")
    least, digest = _asked(written)
    face.take(change_channel(face.settings.home, name, least, digest))
    return f"Kept: “{name}” takes {takes_words(least)}, {digest}. {FROM_NOW}"


def _asked(written: Written) -> tuple[str, str]:
    least = written.text("least_severity") or "info"
    if least not in SEVERITIES:
        raise UsageError("Choose from the list what it takes.")
    return least, written.text("digest") or AT_ONCE


def remove(face: Face, written: Written) -> str:
    name = written.text("channel")
    face.take(remove_channel(face.settings.home, name))
    with face.store.read() as tx:
        left = sum(queue.waiting + queue.parked for queue in notice_store.queues(tx) if queue.channel == name)
    notices = "1 notice for it is" if left == 1 else f"{left} notices for it are"
    stay = f" {notices} kept until there is a channel of that name again." if left else ""
    return f"Channel “{name}” is taken out of settings.toml. {FROM_NOW}{stay}"


def quiet_hours(face: Face, written: Written) -> str:
    """Both ends of the quiet hours, or neither."""
    begin, end = (written.text(key) for key in QUIET)
    if bool(begin) != bool(end):
        missing = "when they end" if begin else "when they begin"
        raise UsageError(f"Quiet hours have two ends: say {missing} too, or leave both empty for none.")
    for words in filter(None, (begin, end)):
        if clock_time(words) is None:
            raise UsageError(f"“{words[:20]}” is not a clock time; give one such as 22:00.")
    if begin and clock_time(begin) == clock_time(end):
        raise UsageError("Quiet hours cannot end when they begin; leave both empty for none.")
    if fixed := [variable for key in QUIET if (variable := fixed_by(key))]:
        raise UsageError(f"Set by {' and '.join(fixed)} where Traywarden was started, so not here.")
    face.take(change_settings(face.settings.home, dict(zip(QUIET, (begin, end), strict=True))))
    if not begin:
        return f"Kept: there are no quiet hours. {FROM_NOW}"
    only = "only what is urgent is sent; the rest comes as one notice then"
    return f"Kept: from {begin} to {end} {only}. {FROM_NOW}"
