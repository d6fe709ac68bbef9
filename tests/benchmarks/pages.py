"""The pages of a whole season, over the socket, while readings arrive; and how heavy the first one is.

The garden is that of `season`, with upkeep done, served by the real server. Every second one reading of each
of two heads is stored by another connection, which makes every shared answer an old one. Each page is asked
fifty times, twice a second, and the time is what a browser on the same computer waits for the whole answer.
Beside it stands the page's question asked once, without what pages share, in the same run.

The first time a page is asked, which is when it is worked out, stands beside it and has no limit; nor has a
page after an entry in the journal, which is worked out anew while it is waited for. A page that is not there
is left out, and said.
"""

import gzip
import http.client
import json
import re
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from urllib.parse import urlsplit

import numpy as np

from tests.benchmarks.figures import Figure
from tests.benchmarks.questions import warm_season
from tests.benchmarks.season import Season
from traywarden.domain.readings import BOOT_IMPORTED, Reading
from traywarden.services.questions.today import ask_today
from traywarden.services.tokens import make_token
from traywarden.settings import load
from traywarden.store import readings
from traywarden.store.store import Store
from traywarden.web.serving import Serving

REQUESTS = 50
EVERY_S = 0.5
READINGS_EVERY_S = 1.0
MOST_NOW_MS, MOST_ONE_MS = 100.0, 300.0
MOST_KB = 100.0


@dataclass(frozen=True)
class Timed:
    path: str
    most_ms: float


PAGES = (
    Timed("/", MOST_NOW_MS),
    Timed("/trays", MOST_NOW_MS),
    Timed("/trays/1", MOST_ONE_MS),
    Timed("/trays/1?days=90", MOST_ONE_MS),
    Timed("/places", MOST_ONE_MS),
    Timed("/places/compare?a=2&b=1&from=2026-07-31&to=2026-10-28", MOST_ONE_MS),
    Timed("/places/compare?a=3&b=1&from=2026-07-31&to=2026-10-28&measured=soil", MOST_ONE_MS),
    Timed("/week", MOST_ONE_MS),
)

AFTER_A_DEED = ("/", "/trays/1", "/mixes")


class _Arriving:
    """Stores readings at a steady pace, as a host does beside the pages."""

    def __init__(self, made: Season) -> None:
        self._made, self._ending = made, threading.Event()
        self._thread = threading.Thread(target=self._run)
        self.stored = 0

    def __enter__(self) -> "_Arriving":
        self._thread.start()
        return self

    def __exit__(self, *_: object) -> None:
        self._ending.set()
        self._thread.join()

    def _run(self) -> None:
        with Store.open(self._made.settings.store_url) as store:
            while not self._ending.wait(READINGS_EVERY_S):
                self.stored += 1
                at_ms = self._made.now_ms + self.stored * 1000
                rows = [
                    Reading(
                        "p01",
                        number,
                        BOOT_IMPORTED + 1,
                        at_ms,
                        at_ms,
                        at_ms,
                        soil_temp_c=14.0,
                        moisture_v=2.0,
                    )
                    for number in (1, 2)
                ]
                with store.write() as tx:
                    readings.insert(tx, rows)


def got(port: int, path: str) -> tuple[int, bytes, float]:
    """Status, body as sent (compressed) and how long it took [s]."""
    connection = http.client.HTTPConnection("127.0.0.1", port, timeout=60)
    try:
        began_s = time.perf_counter()
        connection.request("GET", path, headers={"accept-encoding": "gzip", "host": "localhost"})
        answer = connection.getresponse()
        body = answer.read()
        return answer.status, body, time.perf_counter() - began_s
    finally:
        connection.close()


def page_ms(port: int, path: str) -> tuple[float, float, float] | None:
    """Of a page the first time, the median and the p95 after it [ms]; None where there is no such page."""
    status, _, first_s = got(port, path)
    if status != 200:
        return None
    spans_s = []
    for _ in range(REQUESTS):
        began_s = time.perf_counter()
        status, _, took_s = got(port, path)
        assert status == 200, path
        spans_s.append(took_s)
        time.sleep(max(0.0, EVERY_S - (time.perf_counter() - began_s)))
    middle, most = np.percentile(spans_s, [50, 95]) * 1000
    return first_s * 1000, float(middle), float(most)


def after_a_deed_ms(port: int, key: str, tray: str, path: str) -> float:
    """How long a page takes that has been asked before, once something was written down [ms]."""
    got(port, path)
    connection = http.client.HTTPConnection("127.0.0.1", port, timeout=60)
    try:
        deed = json.dumps({"deed": "note", "trays": [tray], "note": "all well"})
        heads = {"content-type": "application/json", "authorization": f"Bearer {key}"}
        connection.request("POST", "/api/v1/journal", deed, heads)
        answer = connection.getresponse()
        assert answer.status == 201, answer.read()
    finally:
        connection.close()
    return got(port, path)[2] * 1000


def first_load_kb(port: int) -> float:
    """What a browser gets that opens “Now” for the first time [kB of 1,000 bytes]."""
    _, page, _ = got(port, "/")
    text = gzip.decompress(page).decode() if page[:2] == b"\x1f\x8b" else page.decode()
    parts = set(re.findall(r'<(?:script src|link rel="(?:stylesheet|icon)" href)="([^"]+)"', text))
    assert parts, "a page has a stylesheet"
    return (len(page) + sum(len(got(port, part)[1]) for part in parts)) / 1000


@contextmanager
def _serving(made: Season) -> Iterator[int]:
    home = Path(made.store.where).parent
    settings = load(home, environ={}, overrides={"web.port": 0, "host.clock": "readings"})
    with Serving(settings) as serving:
        port = urlsplit(serving.address).port
        assert port is not None
        yield port


def run() -> list[Figure]:
    figures = []
    with warm_season() as made:
        began_s = time.perf_counter()
        with made.ground() as on:
            ask_today(on)
        alone_ms = (time.perf_counter() - began_s) * 1000
        with _serving(made) as port:
            figures.append(Figure("Now on first load, compressed", first_load_kb(port), "kB", most=MOST_KB))
            with _Arriving(made) as arriving:
                for page in PAGES:
                    found = page_ms(port, page.path)
                    if found is None:
                        print(f"pages: there is no page {page.path}", flush=True)
                        continue
                    name = f"{page.path} while readings arrive, of {REQUESTS} requests the"
                    figures.append(Figure(f"{page.path} the first time", found[0], "ms"))
                    figures.append(Figure(f"{name} median", found[1], "ms"))
                    figures.append(Figure(f"{name} p95", found[2], "ms", most=page.most_ms))
                with made.store.write() as tx:
                    key = make_token(tx, "bench", made.now_ms, writes=True).secret
                tray = next(iter(made.trays))
                for path in AFTER_A_DEED:
                    took_ms = after_a_deed_ms(port, key, tray, path)
                    figures.append(Figure(f"{path} after a deed", took_ms, "ms"))
            assert arriving.stored > REQUESTS * EVERY_S / READINGS_EVERY_S / 2, "readings arrived meanwhile"
        figures.append(Figure("what “Now” asks, by itself", alone_ms, "ms"))
    return figures
