"""A mail server and a web server on loopback that take, refuse, stall or break off as the test asks."""

import asyncio
import json
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from email import message_from_bytes, policy
from email.message import EmailMessage
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from typing import Any

from aiosmtpd.controller import Controller
from aiosmtpd.smtp import SMTP, Envelope, Session

from tests.system.brokers import free_port


@dataclass
class Inbox:
    """What the mail server took. `answer`: an SMTP answer to give instead of taking it.

    `to_answer`: the same, already to the recipient. `stalls`: it says nothing while this holds. `breaks_off`:
    it hangs up in the middle of the message. `forgets`: it takes the mail and hangs up without saying so.
    """

    port: int = 0
    mails: list[EmailMessage] = field(default_factory=list)
    answer: str = ""
    to_answer: str = ""
    stalls: bool = False
    breaks_off: bool = False
    forgets: bool = False

    async def handle_RCPT(  # noqa: N802
        self, server: SMTP, session: Session, envelope: Envelope, address: str, options: list[str]
    ) -> str:
        if self.to_answer:
            return self.to_answer
        envelope.rcpt_tos.append(address)
        return "250 known"

    async def handle_DATA(self, server: SMTP, session: Session, envelope: Envelope) -> str:  # noqa: N802
        while self.stalls:
            await asyncio.sleep(0.02)
        if self.answer:
            return self.answer
        content = envelope.content
        assert isinstance(content, bytes)
        self.mails.append(message_from_bytes(content, policy=policy.default))
        if self.forgets and server.transport is not None:
            server.transport.close()
        return "250 taken"

    def url(self, password: str = "") -> str:
        account = f"grower:{password}@" if password else ""
        return (
            f"mailto://{account}127.0.0.1:{self.port}/?from=host@example.org&to=me@example.org&mode=insecure"
        )


class _Smtp(SMTP):
    """Hangs up in the middle of a message where its inbox says so."""

    async def smtp_DATA(self, arg: str) -> None:  # noqa: N802
        if self.event_handler.breaks_off and self.transport is not None:
            await self.push("354 go on")
            await self._reader.readline()
            self.transport.close()
        else:
            await super().smtp_DATA(arg)


class _Controller(Controller):
    def factory(self) -> SMTP:
        return _Smtp(self.handler, **self.SMTP_kwargs)


@contextmanager
def mail_server(port: int = 0) -> Iterator[Inbox]:
    inbox = Inbox(port or free_port())
    controller = _Controller(inbox, hostname="127.0.0.1", port=inbox.port, ready_timeout=20)
    controller.start()
    try:
        yield inbox
    finally:
        inbox.stalls = False
        controller.stop()


DRIPS = -1


@dataclass
class Hook:
    """What the web server was given, and what it answers: (status, headers); None hangs until `go`.

    (DRIPS, {}) answers one byte after another, none late by itself, until `go`; then 200.
    """

    port: int = 0
    got: list[dict[str, Any]] = field(default_factory=list)
    at_s: list[float] = field(default_factory=list)
    headers: list[dict[str, str]] = field(default_factory=list)
    gave: list[int | None] = field(default_factory=list)
    answers: list[tuple[int, dict[str, str]] | None] = field(default_factory=list)
    go: threading.Event = field(default_factory=threading.Event)
    changed: threading.Condition = field(default_factory=threading.Condition)

    @property
    def taken(self) -> list[dict[str, Any]]:
        """What it was given and answered with 200."""
        return [got for got, gave in zip(self.got, self.gave, strict=True) if gave == 200]

    def url(self, path: str = "") -> str:
        return f"json://127.0.0.1:{self.port}/{path}"

    def wait_for(self, number: int, timeout_s: float = 30.0) -> bool:
        with self.changed:
            return self.changed.wait_for(lambda: len(self.got) >= number, timeout_s)


@contextmanager
def web_server() -> Iterator[Hook]:
    hook = Hook()

    class Handler(BaseHTTPRequestHandler):
        def do_POST(self) -> None:
            body = self.rfile.read(int(self.headers["Content-Length"]))
            with hook.changed:
                answer = hook.answers.pop(0) if hook.answers else (200, {})
                hook.got.append(json.loads(body))
                hook.at_s.append(time.perf_counter())
                hook.headers.append(dict(self.headers))
                hook.gave.append(answer[0] if answer else None)
                hook.changed.notify_all()
            if answer is None:
                hook.go.wait(30)
                return
            status, headers = answer
            if status == DRIPS:
                self._drip()
                return
            self.send_response(status)
            for name, value in {**headers, "Content-Length": "0"}.items():
                self.send_header(name, value)
            self.end_headers()

        def _drip(self) -> None:
            self.wfile.write(b"HTTP/1.1 200 OK\r\nX-Slowly: ")
            while not hook.go.wait(0.05):
                self.wfile.write(b".")
            self.wfile.write(b"\r\nContent-Length: 0\r\n\r\n")

        def log_message(self, format: str, *args: object) -> None:
            pass

    server = ThreadingHTTPServer(("127.0.0.1", 0), Handler)
    server.daemon_threads = False
    hook.port = server.server_address[1]
    thread = threading.Thread(target=server.serve_forever, args=(0.02,), daemon=True)
    thread.start()
    try:
        yield hook
    finally:
        hook.go.set()
        server.shutdown()
        thread.join()
        server.server_close()
