"""Accounts on a broker of one's own: a password and the rights for each probe, and for the host.

A probe's account has the probe's name, and may write the probe's own topics and read what is meant for it;
nothing else. The files are mosquitto's (mosquitto.conf(5): password_file, acl_file).
"""

import base64
import hashlib
import os
import secrets
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from pathlib import Path

from traywarden.errors import UsageError, WireError
from traywarden.settings import Secret
from traywarden.wire import topics

ROUNDS = 101
"""mosquitto_passwd's own count for PBKDF2 with SHA-512. The passwords here are random, 144 bits long, so
that the count adds nothing; a board need not reckon it."""
_SALT_BYTES, _PASSWORD_BYTES = 12, 18
PLAIN, HASHED, RIGHTS, LINES = "accounts.txt", "passwd", "acl", "accounts.conf"


@dataclass(frozen=True, slots=True)
class Accounts:
    """What was written. `fresh` are the accounts whose password is new; the passwords are in `plain`."""

    folder: str
    host: str
    probes: tuple[str, ...]
    fresh: tuple[str, ...]
    plain: str


def write_accounts(
    folder: Path,
    garden: str,
    host: str,
    probes: Iterable[str],
    *,
    renew: Iterable[str] = (),
    salt: Callable[[int], bytes] = secrets.token_bytes,
) -> Accounts:
    """Write the files of a folder anew; accounts that are there keep their password unless in `renew`.

    Raises UsageError for a name that cannot stand in a topic, or a folder that cannot be written.
    """
    names = sorted(set(probes))
    try:
        for name in names:
            topics.checked_name("probe", name)
    except WireError as error:
        raise UsageError(str(error)) from None
    if host in names:
        raise UsageError(f"“{host}” is the host's account; give it another name with --host-user.")
    try:
        folder.mkdir(parents=True, exist_ok=True)
        known = _read(folder / PLAIN)
        again = set(renew)
        strange = again - {host, *names}
        if strange:
            raise UsageError(f"There is no account “{min(strange)}” to renew.")
        kept = {n: p for n, p in known.items() if n not in again}
        plain = {name: kept.get(name) or secrets.token_urlsafe(_PASSWORD_BYTES) for name in (host, *names)}
        hashed = [f"{name}:{mosquitto_hash(word, salt(_SALT_BYTES))}" for name, word in plain.items()]
        _write(folder / PLAIN, [f"{name}:{word}" for name, word in plain.items()])
        _write(folder / HASHED, hashed)
        _write(folder / RIGHTS, _rights(garden, host))
        _write(folder / LINES, _lines(folder))
    except OSError as error:
        raise UsageError(f"The folder {folder} cannot be written to ({error.strerror}).") from error
    fresh = tuple(name for name in plain if name not in kept)
    return Accounts(str(folder), host, tuple(names), fresh, str(folder / PLAIN))


def known_accounts(folder: Path) -> set[str]:
    """The accounts that a folder holds already; none where there is no such folder."""
    return set(_read(folder / PLAIN))


def password_of(folder: Path, account: str) -> Secret:
    """The password of an account. Raises UsageError where there is none."""
    known = _read(folder / PLAIN)
    if account not in known:
        raise UsageError(
            f"{folder / PLAIN} has no account “{account}”; make it with: "
            f"traywarden broker accounts {folder} --probe {account}"
        )
    return Secret(known[account])


def mosquitto_hash(password: str, salt: bytes) -> str:
    """`$7$rounds$salt$hash`: PBKDF2 with HMAC-SHA-512, as mosquitto_passwd writes it."""
    key = hashlib.pbkdf2_hmac("sha512", password.encode(), salt, ROUNDS, 64)
    return "$".join(("", "7", str(ROUNDS), base64.b64encode(salt).decode(), base64.b64encode(key).decode()))


def _rights(garden: str, host: str) -> list[str]:
    mine = f"{topics.PREFIX}/{topics.checked_name('garden', garden)}/%u"
    return [
        "# %u is the account, which has the probe's name: nobody writes another's readings.",
        *(f"pattern write {mine}/{kind}" for kind in (topics.READINGS, topics.STATE)),
        *(f"pattern read {mine}/{kind}" for kind in (topics.RECEIPT, topics.SETTINGS)),
        "",
        f"user {host}",
        f"topic readwrite {topics.PREFIX}/#",
    ]


def _lines(folder: Path) -> list[str]:
    where = folder.absolute()
    return [
        "# Copy to /etc/mosquitto/conf.d/, and let mosquitto read the files. A home is closed to it on many",
        "# systems: then make the folder elsewhere, for example /srv/traywarden-broker.",
        f"#   sudo chown mosquitto: {where / HASHED} {where / RIGHTS}",
        "allow_anonymous false",
        f"password_file {where / HASHED}",
        f"acl_file {where / RIGHTS}",
        "",
        "# Passwords travel in the clear without TLS. For TLS, take the # away and name your files:",
        "# listener 8883",
        "# cafile /etc/mosquitto/certs/ca.pem",
        "# certfile /etc/mosquitto/certs/broker.pem",
        "# keyfile /etc/mosquitto/certs/broker.key",
    ]


def _read(path: Path) -> Mapping[str, str]:
    try:
        lines = path.read_text(encoding="utf-8").splitlines()
    except FileNotFoundError:
        return {}
    except (OSError, UnicodeDecodeError) as error:
        raise UsageError(f"{path} cannot be read ({error}).") from error
    return {name: word for name, colon, word in (line.partition(":") for line in lines) if colon and word}


def _write(path: Path, lines: Iterable[str]) -> None:
    """Whole or not at all, and for nobody else to read."""
    fresh = path.with_name(path.name + ".new")
    fresh.unlink(missing_ok=True)
    with open(os.open(fresh, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600), "w", encoding="utf-8") as file:  # noqa: PTH123
        file.write("\n".join(lines) + "\n")
    fresh.replace(path)
