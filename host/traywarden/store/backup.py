"""Copies of a whole store, taken while it is in use."""

import os
import shutil
import sqlite3
import subprocess
from contextlib import closing, suppress
from datetime import UTC, datetime
from pathlib import Path

from sqlalchemy import URL

from traywarden.errors import StoreError, StoreFullError
from traywarden.store.faults import described, translated


def copy_sqlite(path: Path, revision: str, target: Path | None = None) -> Path:
    """Copy a SQLite store through SQLite's backup interface; a half-made copy is removed.

    The copy is named <file>.before-<revision>-<UTC time> unless `target` is given.
    """
    target = target or path.with_name(f"{path.name}.before-{revision}-{_stamp()}")
    url = URL.create("sqlite", database=str(target))
    done = False
    try:
        with (
            translated(url),
            closing(sqlite3.connect(path)) as source,
            closing(sqlite3.connect(target)) as copy,
        ):
            source.backup(copy)
            # one plain file: a copy that needs its -wal beside it would be copied on without it
            copy.execute("PRAGMA journal_mode = DELETE")
        _to_disk(target)
        done = True
    finally:
        if not done:
            with suppress(OSError):
                target.unlink()
    return target


def dump_postgresql(url: URL, revision: str, folder: Path) -> Path:
    """Dump a PostgreSQL store with pg_dump (custom format) into a folder; restore it with pg_restore.

    Raises StoreError where pg_dump is missing or fails, with what to do instead.
    """
    where = described(url)
    program = shutil.which("pg_dump")
    otherwise = "back the database up by other means, then open it once with backup=False"
    if program is None:
        raise StoreError(
            f"{where} needs new tables and pg_dump, which keeps a copy first, is not installed; "
            f"install postgresql-client, or {otherwise}."
        )
    target = folder / f"{url.database}.before-{revision}-{_stamp()}.dump"
    plain = url.set(drivername="postgresql", password=None).render_as_string(hide_password=False)
    environment = dict(os.environ)
    if url.password is not None:
        environment["PGPASSWORD"] = str(url.password)
    ran = subprocess.run(
        [program, "--format=custom", f"--file={target}", f"--dbname={plain}"],
        env=environment,
        capture_output=True,
        text=True,
        check=False,
    )
    if ran.returncode != 0:
        target.unlink(missing_ok=True)
        why = ran.stderr.strip().splitlines()[-1:] or ["no reason given"]
        raise StoreError(f"No copy of {where} could be made (pg_dump: {why[0]}); {otherwise}.")
    _to_disk(target)
    return target


def _stamp() -> str:
    return datetime.now(UTC).strftime("%Y%m%dT%H%M%SZ")


def _to_disk(path: Path) -> None:
    try:
        with path.open("rb+") as file:
            os.fsync(file.fileno())
    except OSError as error:
        raise StoreFullError(
            f"The copy {path} cannot be finished ({error.strerror}); free some space and try again."
        ) from error
