"""A real PostgreSQL server in a folder of its own, from Debian's packages."""

import os
import pwd
import shutil
import signal
import socket
import subprocess
import tempfile
import time
from pathlib import Path
from typing import Any

import psycopg

ACCOUNT = "postgres"
WITH_PASSWORD = "gardener"
"""The one account that must give a password."""


def programs() -> Path | None:
    """Folder with initdb and postgres of the newest version installed, or None."""
    found = [p.parent for p in Path("/usr/lib/postgresql").glob("*/bin/initdb")]
    if found:
        return max(found, key=lambda p: int(p.parent.name))
    on_path = shutil.which("initdb")
    return Path(on_path).resolve().parent if on_path else None


def run_as() -> dict[str, Any]:
    """initdb refuses root: then everything runs as the account that Debian's package makes."""
    if os.geteuid() != 0:
        return {}
    return {"user": ACCOUNT, "group": pwd.getpwnam(ACCOUNT).pw_gid, "extra_groups": []}


class PostgresServer:
    """Started on a free loopback port; nothing of it is left after `stop`."""

    def __init__(self, binaries: Path) -> None:
        self.binaries = binaries
        self.folder = Path(tempfile.mkdtemp(prefix="traywarden-pg-"))
        self.port = 0
        self._made = 0
        if os.geteuid() == 0:
            shutil.chown(self.folder, ACCOUNT)
        initdb = f"{binaries}/initdb -A trust -U {ACCOUNT} --no-sync --encoding=UTF8 --locale=C -D".split()
        subprocess.run(
            [*initdb, self.folder / "data"], check=True, capture_output=True, cwd=self.folder, **run_as()
        )
        access = self.folder / "data" / "pg_hba.conf"  # first line that fits decides
        access.write_text(f"host all {WITH_PASSWORD} 127.0.0.1/32 scram-sha-256\n{access.read_text()}")
        self._start()
        self.run(f"CREATE ROLE {WITH_PASSWORD} LOGIN PASSWORD '{WITH_PASSWORD}-right'")

    def _start(self) -> None:
        for _ in range(5):  # another program may take the port between asking and binding
            with socket.socket() as asked:
                asked.bind(("127.0.0.1", 0))
                self.port = asked.getsockname()[1]
            log = (self.folder / "log").open("wb")
            with log:
                self._process = subprocess.Popen(
                    [
                        *(self.binaries / "postgres", "-D", self.folder / "data", "-p", str(self.port)),
                        *("-c", "listen_addresses=127.0.0.1", "-c", f"unix_socket_directories={self.folder}"),
                        *("-c", "fsync=off", "-c", "shared_buffers=32MB", "-c", "max_connections=60"),
                    ],
                    stdout=log,
                    stderr=subprocess.STDOUT,
                    cwd=self.folder,
                    **run_as(),
                )
            if self._answers():
                return
        raise RuntimeError(f"PostgreSQL did not start: {(self.folder / 'log').read_text()}")

    def _answers(self) -> bool:
        for _ in range(600):
            if self._process.poll() is not None:
                return False
            try:
                with psycopg.connect(self.url(ACCOUNT)):
                    return True
            except psycopg.OperationalError:
                time.sleep(0.05)
        return False

    def url(self, database: str) -> str:
        return f"postgresql://{ACCOUNT}@127.0.0.1:{self.port}/{database}"

    def run(self, statement: str, database: str = ACCOUNT) -> None:
        """Run one statement as the superuser."""
        with psycopg.connect(self.url(database), autocommit=True) as connection:
            connection.execute(statement.encode())

    def new_database(self, template: str = "template0") -> str:
        """A database of its own, copied from `template`; its name."""
        self._made += 1
        name = f"t{self._made}"
        self.run(f"CREATE DATABASE {name} TEMPLATE {template}")
        return name

    def drop(self, database: str) -> None:
        self.run(f"DROP DATABASE IF EXISTS {database} WITH (FORCE)")

    def stop(self) -> None:
        self._process.send_signal(signal.SIGINT)  # “fast shutdown”
        try:
            self._process.wait(timeout=30)
        except subprocess.TimeoutExpired:
            self._process.kill()
            self._process.wait()
        shutil.rmtree(self.folder, ignore_errors=True)
