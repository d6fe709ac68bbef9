"""The store: one writer at a time, any number of readers, the schema brought up to date on opening."""

import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

from sqlalchemy import URL, Connection, Engine, inspect, text

from traywarden.errors import StoreError, StoreFullError
from traywarden.store import engine as engine_module
from traywarden.store import faults, schema
from traywarden.turns import holding_on

Tx = Connection
"""A running transaction, as `Store.write` and `Store.read` hand it out."""

WRITER_LOCK = 0x7472617977617264
"""Advisory lock that every writing transaction on PostgreSQL holds."""


class Store:
    """Readings, journal and notices in SQLite or PostgreSQL. Safe to use from several threads.

    `url` is the address as given, password and all; `where` is for people to read.
    """

    def __init__(self, url: URL) -> None:
        self.url = url.render_as_string(hide_password=False)
        self.where = faults.described(url)
        self.dialect = url.get_backend_name()
        self._parts = url
        self._writer: Engine
        self._reader: Engine
        self._writer, self._reader = engine_module.engines(url)
        self._lock = threading.Lock()
        self._writing: int | None = None

    @classmethod
    def open(cls, url: str, *, backup: bool = True, backup_folder: Path | None = None) -> "Store":
        """The store at an address, made or brought up to date where needed.

        Before an older store is changed a copy is kept: beside a SQLite file; for PostgreSQL in
        `backup_folder` (default: the working directory). `backup=False` leaves that out.

        Raises StoreError (unreachable, not a store, newer than the program), StoreBusyError, StoreFullError.
        """
        store = cls(engine_module.parsed(url))
        try:
            store._bring_up_to_date(backup=backup, backup_folder=backup_folder)
        except BaseException:
            store.close()
            raise
        return store

    def close(self) -> None:
        self._reader.dispose()
        self._writer.dispose()

    def __enter__(self) -> "Store":
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    @contextmanager
    def write(self) -> Iterator[Tx]:
        """One immediate transaction, committed on leaving and rolled back on any error.

        Waits for other writers, in this process and in others. Cannot be nested within one thread.
        """
        me = threading.get_ident()
        if self._writing == me:
            raise RuntimeError("write() inside write(): pass the running transaction on instead")
        with self._lock, holding_on():
            self._writing = me
            try:
                with faults.translated(self._parts):
                    with self._writer.begin() as tx:
                        engine_module.take_after_commit(tx)  # what a rolled-back transaction left behind
                        if self.dialect == "postgresql":
                            tx.execute(text("SELECT pg_advisory_xact_lock(:key)"), {"key": WRITER_LOCK})
                        yield tx
                        actions = engine_module.take_after_commit(tx)
                    for action in actions:
                        action()
            finally:
                self._writing = None

    @contextmanager
    def read(self) -> Iterator[Tx]:
        """A read-only snapshot: what was committed when its first question was asked."""
        with faults.translated(self._parts), self._reader.connect() as tx, tx.begin():
            engine_module.begin_snapshot(tx)
            yield tx

    @contextmanager
    def watching(self) -> Iterator[Callable[[], int]]:
        """Gives a function whose number changes when anything was committed, by whatever program."""
        with faults.translated(self._parts), self._reader.connect() as kept:
            if self.dialect == "sqlite":
                # past SQLAlchemy, which would begin a transaction and so see one state for ever
                raw = kept.connection.dbapi_connection
                assert raw is not None
                yield lambda: int(raw.cursor().execute("PRAGMA data_version").fetchone()[0])
            else:
                each = kept.execution_options(isolation_level="AUTOCOMMIT", postgresql_readonly=False)
                asked = text("SELECT pg_snapshot_xmax(pg_current_snapshot())::text::bigint")
                yield lambda: int(each.execute(asked).scalar_one())

    def revision(self) -> str | None:
        """The revision of the tables in the store; None in an empty one."""
        with self.read() as tx:
            return self._revision(tx)

    def _revision(self, tx: Tx) -> str | None:
        tables = set(inspect(tx).get_table_names())
        if schema.VERSION_TABLE in tables:
            found: str | None = tx.execute(text(f"SELECT version_num FROM {schema.VERSION_TABLE}")).scalar()
            return found
        ours = tables if self.dialect == "sqlite" else tables & set(schema.metadata.tables)
        if ours:
            raise StoreError(
                f"{self.where} belongs to another program (it has a table “{min(ours)}” but no "
                f"{schema.VERSION_TABLE}); give store.url an empty database or another file."
            )
        return None

    def _bring_up_to_date(self, *, backup: bool, backup_folder: Path | None) -> None:
        if self.dialect == "sqlite":
            self._make_folder()
        if self._checked(self.revision()) == schema.REVISIONS[-1]:
            return
        # imported here because Alembic takes longer to load than an up-to-date store takes to open
        from traywarden.store import upgrade

        with self.write() as tx:
            found = self._checked(self._revision(tx))  # again: another program may have been faster
            if found == schema.REVISIONS[-1]:
                return
            if found is not None and backup:
                upgrade.keep_copy(self._parts, schema.REVISIONS[-1], backup_folder or Path.cwd())
            upgrade.upgrade(tx)

    def _checked(self, found: str | None) -> str | None:
        if found is not None and found not in schema.REVISIONS:
            raise StoreError(
                f"The store {self.where} was written by a newer Traywarden (schema {found}, this one knows "
                f"up to {schema.REVISIONS[-1]}); install the newer program, or open the copy it kept."
            )
        return found

    def _make_folder(self) -> None:
        folder = Path(self.where).parent
        try:
            folder.mkdir(parents=True, exist_ok=True)
        except OSError as error:
            raise StoreFullError(
                f"The folder {folder} for the store cannot be made ({error.strerror}); "
                "check owner and permissions, or give another file in store.url."
            ) from error
