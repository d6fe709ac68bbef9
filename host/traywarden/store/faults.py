"""What goes wrong in a database, in one sentence each: what, where, and what to do."""

import os
import re
import shutil
import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import psycopg
from sqlalchemy import URL, exc

from traywarden.errors import StoreBusyError, StoreError, StoreFullError

WAIT_S = 10
"""How long a transaction waits for another program's before it gives up."""

_SCARCE_BYTES = 1 << 20
_OTHER = "{where} refused: {why}; run `traywarden doctor`."

_SQLITE: dict[int, tuple[type[StoreError], str]] = {
    sqlite3.SQLITE_FULL: (
        StoreFullError,
        "The disk that holds {where} is full; free some space there, nothing stored is lost.",
    ),
    sqlite3.SQLITE_BUSY: (
        StoreBusyError,
        "The store {where} has been locked by another program for {wait_s} s; close it or try again.",
    ),
    sqlite3.SQLITE_READONLY: (
        StoreFullError,
        "The store {where} cannot be written to: file or folder is read-only; "
        "check owner, permissions and whether the disk is mounted read-only.",
    ),
    sqlite3.SQLITE_NOTADB: (
        StoreError,
        "{where} is not a store (no SQLite database); give another file in store.url.",
    ),
    sqlite3.SQLITE_CORRUPT: (
        StoreError,
        "The store {where} is damaged ({why}); stop the host, keep a copy of it and restore the last backup.",
    ),
    sqlite3.SQLITE_CANTOPEN: (
        StoreError,
        "The store {where} cannot be opened; check that its folder exists and that you may write in it.",
    ),
    sqlite3.SQLITE_IOERR: (
        StoreError,
        "The disk that holds {where} fails ({why}); check disk and cable, then try again.",
    ),
}
_SQLITE[sqlite3.SQLITE_LOCKED] = _SQLITE[sqlite3.SQLITE_BUSY]
_SQLITE[sqlite3.SQLITE_PERM] = _SQLITE[sqlite3.SQLITE_READONLY]

_BUSY = (StoreBusyError, "{where} is busy ({why}); try again in a moment.")
_UNREACHABLE = (
    StoreError,
    "{where} cannot be reached ({why}); check that it runs and that store.url is right.",
)
_REFUSED = (StoreError, "{where} refused the account ({why}); check user and password in store.url.")

# By SQLSTATE: https://www.postgresql.org/docs/current/errcodes-appendix.html
_POSTGRESQL: dict[str, tuple[type[StoreError], str]] = {
    "53100": (StoreFullError, "The disk of {where} is full; free some space there, nothing stored is lost."),
    "25006": (StoreFullError, "{where} is read-only ({why}); give the primary server in store.url."),
    "3D000": (StoreError, "{where} does not exist; make it with: createdb NAME, or correct store.url."),
    "42501": (StoreError, "The account lacks a right in {where} ({why}); grant it, or correct store.url."),
    "28000": _REFUSED,
    "28P01": _REFUSED,
    "55P03": _BUSY,  # lock_not_available
    "40001": _BUSY,  # serialization_failure
    "40P01": _BUSY,  # deadlock_detected
    "53300": _BUSY,  # too_many_connections
    "57P03": _BUSY,  # cannot_connect_now: starting up or shutting down
    "57P01": _UNREACHABLE,  # admin_shutdown
    "57P02": _UNREACHABLE,  # crash_shutdown
    "57P05": _UNREACHABLE,  # idle_session_timeout
    "": _UNREACHABLE,  # no answer, so no state either
}
_PHRASES = (  # a connection that is refused comes without SQLSTATE
    (r'database ".*" does not exist', "3D000"),
    (r'role ".*" does not exist|no pg_hba\.conf entry', "28000"),
    (r"password authentication failed|no password supplied", "28P01"),
    (r"is starting up|is shutting down", "57P03"),
    (r"too many clients|remaining connection slots", "53300"),
)


@contextmanager
def translated(url: URL) -> Iterator[None]:
    """Database errors inside become StoreError, StoreBusyError or StoreFullError in one sentence."""
    try:
        yield
    except exc.DBAPIError as error:
        raise translation(error.orig or error, url) from error
    except (sqlite3.Error, psycopg.Error) as error:
        raise translation(error, url) from error
    except exc.TimeoutError as error:
        raise StoreBusyError(
            f"The store {described(url)} has no free connection; try again in a moment."
        ) from error


def translation(error: BaseException, url: URL) -> StoreError:
    """What a driver's error means to the person who must do something about it."""
    where = described(url)
    if isinstance(error, psycopg.Error):
        kind, sentence = _POSTGRESQL.get(_sqlstate(error), (StoreError, _OTHER))
    else:
        kind, sentence = _SQLITE.get(_sqlite_code(error, where), (StoreError, _OTHER))
    return kind(sentence.format(where=where, why=_first_line(error), wait_s=WAIT_S))


def described(url: URL) -> str:
    """Where the store is, for people: the file, or server and database without the password."""
    if url.get_backend_name() == "sqlite":
        return str(Path(url.database or "").absolute())
    host = url.host or str(url.query.get("host", "this machine"))
    port = f":{url.port}" if url.port else ""
    return f"PostgreSQL {host}{port}/{url.database or url.username or ''}"


def _sqlite_code(error: BaseException, where: str) -> int:
    code: int = getattr(error, "sqlite_errorcode", 0) & 0xFF
    # on a full disk the file beside the database cannot grow or be made, which SQLite tells apart
    if code in {sqlite3.SQLITE_IOERR, sqlite3.SQLITE_CANTOPEN} and _scarce(Path(where)):
        return sqlite3.SQLITE_FULL
    # … and in a folder where nothing may be written
    if code == sqlite3.SQLITE_CANTOPEN and _read_only(Path(where)):
        return sqlite3.SQLITE_READONLY
    return code


def _read_only(path: Path) -> bool:
    try:
        return any(p.exists() and not os.access(p, os.W_OK, effective_ids=True) for p in (path, path.parent))
    except OSError:
        return False


def _scarce(path: Path) -> bool:
    try:
        return shutil.disk_usage(path.parent).free < _SCARCE_BYTES
    except OSError:
        return False


def _sqlstate(error: psycopg.Error) -> str:
    state = error.sqlstate or ""
    if not state:
        no_answer = "" if isinstance(error, psycopg.OperationalError | psycopg.InterfaceError) else "?"
        return next((known for phrase, known in _PHRASES if re.search(phrase, str(error))), no_answer)
    return "" if state.startswith("08") else state


def _first_line(error: BaseException) -> str:
    lines = [line.strip() for line in str(error).splitlines() if line.strip()]
    return lines[0].rstrip(".") if lines else type(error).__name__
