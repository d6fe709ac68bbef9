"""A visitor of the pages: a browser without scripts, in a garden of its own at a fixed time."""

import re
import shutil
from collections.abc import Iterator
from html import unescape
from pathlib import Path
from typing import Any

import pytest
from fastapi.testclient import TestClient
from httpx2 import Response

from tests.services.little_garden import NOW_MS, little_garden
from traywarden.domain.journal import Entry
from traywarden.settings import load
from traywarden.store import journal as journal_store
from traywarden.store.store import Store
from traywarden.web.app import made_app
from traywarden.web.changes import Changes
from traywarden.web.face import Face

ADDRESS = "http://localhost"


class Visitor:
    """Opens pages and sends their forms."""

    def __init__(self, home: Path, now_ms: int = NOW_MS, **settings: Any) -> None:
        overrides = {name.replace("__", "."): value for name, value in settings.items()}
        loaded = load(home, environ={}, overrides=overrides)
        self.home = home
        self.store = Store.open(loaded.store_url)
        self.face = Face(self.store, loaded, lambda: now_ms)
        self.changes = Changes(self.store, self.face.answers)
        self.client = TestClient(made_app(self.face, self.changes), base_url=ADDRESS)

    def close(self) -> None:
        self.client.close()
        self.face.close()

    def get(self, path: str, *, status: int = 200) -> str:
        answer = self.client.get(path)
        assert answer.status_code == status, answer.text
        return answer.text

    def words(self, path: str, *, status: int = 200) -> str:
        """What the page says, without its marks, in one line."""
        return words_of(self.get(path, status=status))

    def send(self, action: str, *, back: str = "/", **fields: Any) -> str:
        """Send a form as the page at `back` would; the words of the page it leads to."""
        answer = self.client.post(action, data={"form_token": self.token(), "back": back, **fields})
        assert answer.status_code == 200, answer.text
        return words_of(answer.text)

    def token(self) -> str:
        found = re.search(r'name="form_token" value="([^"]+)"', self.get("/"))
        assert found is not None
        return found[1]

    def post(self, action: str, **fields: Any) -> Response:
        """Send it as it is, following nothing."""
        return self.client.post(action, data=fields, follow_redirects=False)

    def entries(self) -> list[Entry]:
        with self.store.read() as tx:
            return journal_store.facts(tx).entries


def words_of(text: str) -> str:
    main = text[text.index("<main") : text.index("</main>")]
    return " ".join(unescape(re.sub(r"<[^>]+>", " ", main)).split())


@pytest.fixture(scope="session")
def _little_home(tmp_path_factory: pytest.TempPathFactory) -> Path:
    home = tmp_path_factory.mktemp("little")
    little_garden(home).store.close()
    return home


@pytest.fixture
def visitor(_little_home: Path, tmp_path: Path) -> Iterator[Visitor]:
    """In the little garden, at the moment of its last reading."""
    home = tmp_path / "home"
    shutil.copytree(_little_home, home)
    made = Visitor(home)
    yield made
    made.close()
