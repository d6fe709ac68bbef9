"""A little garden per test module, and the ground to ask it on."""

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pytest

from tests.services.little_garden import NOW_MS, LittleGarden, little_garden
from traywarden.services.questions.ground import Ground, ground
from traywarden.settings import load
from traywarden.store import garden
from traywarden.store.store import Store

Ask = Callable[..., Any]


@contextmanager
def grounded(store: Store, now_ms: int = NOW_MS, **settings: Any) -> Iterator[Ground]:
    """The ground to ask on; settings as coverage__least=0.5."""
    with store.read() as tx:
        own = garden.the_garden(tx)
        assert own is not None
        chosen = load(
            Path("/nowhere"), environ={}, overrides={k.replace("__", "."): v for k, v in settings.items()}
        )
        yield ground(tx, own, chosen, now_ms)


@pytest.fixture(scope="module")
def little(tmp_path_factory: pytest.TempPathFactory) -> Iterator[LittleGarden]:
    """Two weeks of readings; for questions that write nothing."""
    made = little_garden(tmp_path_factory.mktemp("garden"))
    yield made
    made.store.close()


@pytest.fixture
def empty(tmp_path: Path) -> Iterator[LittleGarden]:
    """The same garden before the first reading."""
    made = little_garden(tmp_path, with_readings=False)
    yield made
    made.store.close()
