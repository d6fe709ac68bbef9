"""Ways out: the console, and every address that apprise understands. Library errors end here.

A channel's `send` returns when the other side has confirmed; otherwise it raises ChannelError, which says
whether trying again can help and when the other side wants to be asked again.
"""

import logging
import re
import threading
import time
import warnings
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import UTC, datetime
from email.utils import parsedate_to_datetime
from pathlib import Path
from typing import Any, Protocol
from urllib.parse import parse_qsl, unquote, urlsplit

from traywarden.errors import ChannelError
from traywarden.settings import Channel as ChannelSetting
from traywarden.settings import Secret, Settings

NOTICE_HEADER = "X-Traywarden-Notice"
CONSOLE, MQTT = "console", "mqtt"
CONNECT_S, ANSWER_S = 10.0, 15.0
"""Longest wait for a connection and between two pieces of an answer."""
WHOLE_S = 60.0
"""Longest wait for a whole attempt: a server that answers a byte at a time must not hold up the rest."""
HOPELESS_S, MOST_HOPELESS = 600.0, 8
"""An attempt that hangs for longer than this is left to itself, and so many of them at most."""
TRY_AGAIN_STATUS = (408, 425, 429)
LONGEST_TROUBLE = 300
_KINDS = {"info": "info", "warning": "warning", "urgent": "failure"}
_HTTP_STATUS = re.compile(r"\berror=(\d{3})\b")
_SMTP_CODE = re.compile(r"\(\s*(\d{3}),\s*b['\"](.*?)['\"]|refused: (\d{3}) (.*)", re.DOTALL)
_NOT_SECRET = 4  # a shorter piece of an address (a port, “/”, “me”) would blot out ordinary words


@dataclass(frozen=True, slots=True)
class Message:
    """What goes out. The id is in the text and, where the channel has headers, there too."""

    notice_id: str
    severity: str
    title: str
    body: str
    attachment: Path | None = None
    """A file that goes with it, where the channel takes one."""
    changes: tuple[tuple[str, str], ...] = ()
    created_ms: int = 0

    @property
    def signed_body(self) -> str:
        return f"{self.body}\n\nNotice {self.notice_id}"


class Channel(Protocol):
    """One way out."""

    @property
    def name(self) -> str: ...

    def send(self, message: Message) -> None:
        """Returns once the other side has confirmed; raises ChannelError otherwise."""


class ConsoleChannel:
    """Prints where the host runs."""

    name = CONSOLE

    def __init__(self, say: Callable[[str], None]) -> None:
        self._say = say

    def send(self, message: Message) -> None:
        try:
            self._say(f"{message.title}\n  {message.signed_body.replace(chr(10), chr(10) + '  ')}")
        except OSError as error:  # a closed terminal; it may be opened again
            raise ChannelError(f"The console cannot be written to ({error.strerror}).") from error


class AppriseChannel:
    """One address apprise understands: mailto://, json://, ntfy:// and a hundred more.

    Apprise answers only yes or no; why, and until when to wait, is read from what it logs and from the
    last HTTP answer that its thread received.
    """

    def __init__(
        self, setting: ChannelSetting, *, whole_s: float = WHOLE_S, hopeless_s: float = HOPELESS_S
    ) -> None:
        self.name = setting.name
        self._url, self._whole_s, self._hopeless_s = setting.url.reveal(), whole_s, hopeless_s
        self._secrets = _secrets_in(self._url)
        self._service: Any = None
        self._running: threading.Thread | None = None
        self._began_s = 0.0
        self._hopeless: list[threading.Thread] = []

    def send(self, message: Message) -> None:
        if self._running is not None and self._running.is_alive():
            self._leave(self._running)
        outcome: list[ChannelError | None] = []

        def attempt() -> None:
            try:
                self._attempt(message)
            except ChannelError as error:
                outcome.append(error)
            except Exception as error:  # noqa: BLE001 - a plug-in's own fault; the notice stays whatever it is
                outcome.append(ChannelError(self._masked(f"{type(error).__name__}: {error}")))
            else:
                outcome.append(None)

        self._running = threading.Thread(target=attempt, name=f"send {self.name}", daemon=True)
        self._began_s = time.monotonic()
        self._running.start()
        self._running.join(self._whole_s)
        if not outcome:
            raise ChannelError(f"No answer within {self._whole_s:g} s.")
        if outcome[0] is not None:
            raise outcome[0]

    def _leave(self, hanging: threading.Thread) -> None:
        """Give a hanging attempt up for good, so that a server that once dripped for ever is asked again."""
        self._hopeless = [thread for thread in self._hopeless if thread.is_alive()]
        if time.monotonic() - self._began_s < self._hopeless_s or len(self._hopeless) >= MOST_HOPELESS:
            raise ChannelError("The attempt before has not come back yet.")
        self._hopeless.append(hanging)
        self._service = None  # that thread may still use it

    def _attempt(self, message: Message) -> None:
        service = self._service = self._service or self._made()
        headers = getattr(service, "headers", None)
        if isinstance(headers, dict):
            headers[NOTICE_HEADER] = message.notice_id
        extras = getattr(service, "payload_extras", None)
        if isinstance(extras, dict):
            extras["notice_id"] = message.notice_id
        with _listening() as heard:
            if service.notify(
                body=message.signed_body,
                title=message.title,
                notify_type=_KINDS[message.severity],
                body_format="text",
                attach=self._attached(message.attachment),
            ):
                return
        raise self._error(heard)

    def _attached(self, file: Path | None) -> Any:
        """The file as the service takes it; None where it takes none: the words say where it lies."""
        if file is None or not file.is_file() or not getattr(self._service, "attachment_support", False):
            return None
        from apprise import AppriseAttachment

        return AppriseAttachment(str(file))

    def _made(self) -> Any:
        # Imported on first use: it costs a quarter of the host's memory and slows down every command,
        # and a host that tells its notices on the console alone never needs it.
        with warnings.catch_warnings():
            warnings.simplefilter("ignore", DeprecationWarning)  # of its hundred plug-ins, all loaded here
            from apprise import Apprise, NotifyFormat

            _hush()
            service = Apprise.instantiate(self._url)
        if service is None:
            raise ChannelError(
                f"The address of channel “{self.name}” is not one that apprise understands; correct it.",
                permanent=True,
            )
        service.socket_connect_timeout, service.socket_read_timeout = CONNECT_S, ANSWER_S
        if "smtp_host" in vars(service):
            service.request_rate_per_sec = 0  # one's own mail server; the outbox already backs off
            service.notify_format = NotifyFormat.TEXT  # its HTML runs the lines of a list together
        return service

    def _error(self, heard: "_Heard") -> ChannelError:
        said = " ".join(heard.warnings) or "apprise gives no reason"
        permanent = False
        if heard.status is not None and not 200 <= heard.status < 300:
            said = f"HTTP status {heard.status}: {said}"
            permanent = 400 <= heard.status < 500 and heard.status not in TRY_AGAIN_STATUS
        elif code := _smtp_code(heard.details):
            said = f"SMTP answer {code[0]} {code[1]}".rstrip()
            permanent = 500 <= code[0] < 600
        elif heard.details:
            said = f"{said} ({_innermost(heard.details[-1])})"
        return ChannelError(self._masked(said), permanent=permanent, retry_after_s=heard.retry_after_s)

    def _masked(self, text: str) -> str:
        for secret in self._secrets:
            text = text.replace(secret, "•••")
        return " ".join(text.split())[:LONGEST_TROUBLE]


def understood(name: str, url: str) -> None:
    """Raises ChannelError where apprise makes nothing of the address of a channel; asks no server."""
    AppriseChannel(ChannelSetting(name, Secret(url)))._made()


def made_channels(settings: Settings, say: Callable[[str], None]) -> dict[str, Channel]:
    """Every channel of the settings, and the console unless switched off, by name."""
    found: dict[str, Channel] = {CONSOLE: ConsoleChannel(say)} if settings["notices.console"] else {}
    return found | {c.name: AppriseChannel(c) for c in settings.channels}


class _Heard:
    """What one attempt let slip: warnings, details, and the last HTTP answer."""

    def __init__(self) -> None:
        self.warnings: list[str] = []
        self.details: list[str] = []
        self.status: int | None = None
        self.retry_after_s: float | None = None


_now_listening = threading.local()


class _listening:  # noqa: N801 - used as a statement
    """Collects what apprise logs and receives on this thread."""

    def __enter__(self) -> _Heard:
        self._heard = _now_listening.heard = _Heard()
        return self._heard

    def __exit__(self, *_: object) -> None:
        _now_listening.heard = None


class _Ear(logging.Handler):
    """Takes apprise's log records of the attempt on this thread; nothing of them is printed.

    Apprise logs whole addresses and payloads at its lower levels, passwords included.
    """

    def emit(self, record: logging.LogRecord) -> None:
        heard: _Heard | None = getattr(_now_listening, "heard", None)
        if heard is None:
            return
        text = record.getMessage()
        if record.levelno >= logging.WARNING:
            heard.warnings.append(text)
            if heard.status is None and (found := _HTTP_STATUS.search(text)):
                heard.status = int(found[1])
        elif text.startswith("Socket Exception"):
            heard.details.append(text.removeprefix("Socket Exception: "))


_ear = _Ear(logging.DEBUG)


def _hush() -> None:
    """Apprise's log goes to our ear alone, and every HTTP answer is noted before apprise drops it."""
    import requests

    logger = logging.getLogger("apprise")
    if _ear in logger.handlers:
        return
    logger.handlers[:] = [_ear]
    logger.setLevel(logging.DEBUG)
    logger.propagate = False
    logging.getLogger("urllib3").setLevel(logging.WARNING)  # its debug log has paths, which may be tokens
    plain = requests.Session.send

    def noted(self: Any, request: Any, **options: Any) -> Any:
        answer = plain(self, request, **options)
        heard: _Heard | None = getattr(_now_listening, "heard", None)
        if heard is not None:
            heard.status = answer.status_code
            heard.retry_after_s = retry_after_s(answer.headers, datetime.now(UTC))
        return answer

    requests.Session.send = noted


def retry_after_s(headers: Mapping[str, str], now: datetime) -> float | None:
    """How long the other side asks us to wait (Retry-After: seconds or a date, RFC 9110 §10.2.3) [s].

    Example
    -------
    >>> retry_after_s({"Retry-After": "120"}, datetime.now(UTC))
    120.0
    """
    text = headers.get("Retry-After", "").strip()
    if text.isdecimal():
        return float(text)
    try:
        until = parsedate_to_datetime(text)
    except (ValueError, IndexError, TypeError):
        return None
    if until.tzinfo is None:
        until = until.replace(tzinfo=UTC)
    return max(0.0, (until - now).total_seconds())


def _innermost(detail: str) -> str:
    """“Connection refused” out of a chain of wrapped errors; the whole text where there is no such core."""
    found = re.findall(r"\[Errno -?\d+\] ([^'\")]+)|(Read timed out|Connect timeout|timed out)", detail)
    return next((core or other for core, other in reversed(found)), detail)


def _smtp_code(details: list[str]) -> tuple[int, str] | None:
    for text in details:
        if found := _SMTP_CODE.search(text):
            return int(found[1] or found[3]), (found[2] or found[4] or "").strip()
    return None


def _secrets_in(url: str) -> list[str]:
    """The address and every piece of it that may be a password or a token, longest first."""
    parts = urlsplit(url)
    host = parts.hostname or ""
    pieces = [url, parts.netloc, parts.path, parts.query, parts.username or "", parts.password or ""]
    pieces += re.split(r"[/&?=:@]", url.split("://", 1)[-1])
    pieces += [value for _, value in parse_qsl(parts.query)]
    pieces += [unquote(p) for p in pieces]
    kept = {p for p in pieces if len(p) >= _NOT_SECRET and p.casefold() != host}
    kept |= {p for p in (parts.password, unquote(parts.password or "")) if p}
    return sorted(kept, key=len, reverse=True)
