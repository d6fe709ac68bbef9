"""The one password of the pages: kept as an argon2id hash in the home folder, never in the settings."""

import hmac
import os
import unicodedata
from pathlib import Path

from traywarden.errors import UsageError

FILE = "web.password"
LEAST, MOST = 8, 1024
"""Characters a password may have. NIST SP 800-63B (revision 3, section 5.1.1.2) asks for at least 8; from
memory. The most is only so that nobody can keep the host busy with a long one."""


def set_password(home: Path, password: str) -> None:
    """Raises UsageError for one that is too short or too long, or where the file cannot be written."""
    if not LEAST <= len(password) <= MOST:
        raise UsageError(f"A password of {len(password)} characters will not do; give {LEAST} to {MOST}.")
    # imported here because every command would wait for it
    from argon2 import PasswordHasher

    hashed = PasswordHasher().hash(
        _same(password)
    )  # argon2id, with the library's costs (RFC 9106, low memory)
    path = home / FILE
    fresh = path.with_name(FILE + ".new")
    try:
        home.mkdir(parents=True, exist_ok=True)
        fresh.unlink(missing_ok=True)
        with open(os.open(fresh, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600), "w", encoding="ascii") as file:  # noqa: PTH123
            file.write(hashed + "\n")
        fresh.replace(path)
    except OSError as error:
        raise UsageError(f"{path} cannot be written ({error.strerror}); check the folder's owner.") from error


def clear_password(home: Path) -> bool:
    """Take the password away; whether there was one."""
    path = home / FILE
    try:
        path.unlink()
    except FileNotFoundError:
        return False
    except OSError as error:
        raise UsageError(f"{path} cannot be taken away ({error.strerror}).") from error
    return True


def kept_hash(home: Path) -> str:
    """The hash that is kept; empty where no password is set. Raises UsageError where it cannot be read."""
    path = home / FILE
    try:
        return path.read_text(encoding="ascii").strip()
    except FileNotFoundError:
        return ""
    except (OSError, UnicodeDecodeError) as error:
        raise UsageError(
            f"{path} cannot be read ({error}); set a password anew with: traywarden password set"
        ) from error


def matches(kept: str, password: str) -> bool:
    """Whether this is the password; takes about as long whether it is or not."""
    from argon2 import PasswordHasher
    from argon2.exceptions import InvalidHashError, VerificationError

    try:
        return bool(kept) and PasswordHasher().verify(kept, _same(password[: MOST + 1]))
    except (VerificationError, InvalidHashError):
        return False


def signed_by(key: str, kept: str) -> str:
    """What a signed-in visitor carries: it holds until the password is another one."""
    return hmac.new(key.encode(), kept.encode(), "sha256").hexdigest()


def _same(password: str) -> str:
    """One spelling for what looks the same, whichever keyboard wrote it."""
    return unicodedata.normalize("NFKC", password)
