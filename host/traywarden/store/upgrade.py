"""Bringing the tables up to date, and the copy that is kept before."""

from pathlib import Path

from alembic import command
from alembic.config import Config
from sqlalchemy import URL, Connection

from traywarden.store import backup

MIGRATIONS = Path(__file__).with_name("migrations")


def config(connection: Connection | None = None) -> Config:
    """Alembic's configuration, without a file; the migrations run on `connection`, in its transaction."""
    made = Config()
    made.set_main_option("script_location", str(MIGRATIONS).replace("%", "%%"))
    made.set_main_option("path_separator", "os")
    made.attributes["connection"] = connection
    return made


def upgrade(tx: Connection) -> None:
    """Run every migration the store has not seen, all in the transaction given."""
    command.upgrade(config(tx), "head")


def keep_copy(url: URL, revision: str, folder: Path) -> Path:
    """A copy of the store as it was before `revision`; returns where it lies."""
    if url.get_backend_name() == "sqlite":
        return backup.copy_sqlite(Path(url.database or ""), revision)
    return backup.dump_postgresql(url, revision, folder)
