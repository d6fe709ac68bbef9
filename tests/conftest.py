"""Stores to test with: a real SQLite file and a database of a real PostgreSQL server.

Each pytest worker starts one server of its own, on first use, so that workers never meet.
"""

import os
import shutil
from collections.abc import Iterator
from pathlib import Path

import hypothesis
import pytest

from tests.postgres_server import PostgresServer, programs
from traywarden.store.store import Store

# No test is judged by the clock: two cores are shared by whatever else runs.
hypothesis.settings.register_profile("traywarden", deadline=None, print_blob=True)
hypothesis.settings.load_profile("traywarden")


@pytest.fixture(scope="session")
def postgres_server() -> Iterator[PostgresServer]:
    """A PostgreSQL server; skips where none is installed, fails in CI."""
    binaries = programs()
    if binaries is None:
        sentence = "PostgreSQL is not installed (expected initdb in /usr/lib/postgresql/*/bin)"
        if os.environ.get("CI") == "true":
            pytest.fail(sentence)
        pytest.skip(sentence)
    server = PostgresServer(binaries)
    try:
        yield server
    finally:
        server.stop()


@pytest.fixture(scope="session")
def _filled_template(postgres_server: PostgresServer) -> str:
    """A database that already has the tables: copying it is quicker than migrating anew."""
    name = postgres_server.new_database()
    Store.open(postgres_server.url(name)).close()
    return name


@pytest.fixture
def postgres_url(postgres_server: PostgresServer) -> Iterator[str]:
    """The address of a new, empty PostgreSQL database."""
    name = postgres_server.new_database()
    yield postgres_server.url(name)
    postgres_server.drop(name)


@pytest.fixture(params=["sqlite", "postgresql"])
def empty_url(request: pytest.FixtureRequest, tmp_path: Path) -> str:
    """The address of a store that is not there yet, on either database."""
    if request.param == "sqlite":
        return f"sqlite:///{tmp_path / 'garden' / 'traywarden.sqlite3'}"
    url: str = request.getfixturevalue("postgres_url")
    return url


@pytest.fixture(scope="session")
def _filled_file(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A SQLite file that already has the tables: likewise."""
    path = tmp_path_factory.mktemp("template") / "traywarden.sqlite3"
    Store.open(f"sqlite:///{path}").close()
    return path


@pytest.fixture
def sqlite_store(tmp_path: Path, _filled_file: Path) -> Iterator[Store]:
    """An opened store in a SQLite file."""
    path = tmp_path / "traywarden.sqlite3"
    shutil.copyfile(_filled_file, path)
    with Store.open(f"sqlite:///{path}") as store:
        _spare_the_disk(store)
        yield store


def _spare_the_disk(store: Store) -> None:
    """Nobody cuts the power of such a store: what waits for the disk to turn proves nothing here.

    That every other store does wait is in tests/store/test_store.py.
    """
    connection = store._writer.raw_connection()
    connection.cursor().execute("PRAGMA synchronous = OFF")
    connection.close()


@pytest.fixture
def postgres_store(postgres_server: PostgresServer, _filled_template: str) -> Iterator[Store]:
    """An opened store in a PostgreSQL database of its own."""
    name = postgres_server.new_database(_filled_template)
    with Store.open(postgres_server.url(name)) as store:
        yield store
    postgres_server.drop(name)


@pytest.fixture(params=["sqlite", "postgresql"])
def store(request: pytest.FixtureRequest) -> Store:
    """An opened store with nothing in it: every test that uses it runs on both databases."""
    name = "sqlite_store" if request.param == "sqlite" else "postgres_store"
    opened: Store = request.getfixturevalue(name)
    return opened
