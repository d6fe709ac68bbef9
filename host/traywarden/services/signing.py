"""The key that this home signs with: sessions of the pages, and the links of notices."""

import secrets
from pathlib import Path

KEY_NAME = "web.key"


def signing_key(home: Path) -> str:
    """Kept in the home folder, so that a restart signs nobody out and no link is lost."""
    path = home / KEY_NAME
    try:
        return path.read_text(encoding="ascii")
    except FileNotFoundError:
        path.touch(mode=0o600)
        path.write_text(secrets.token_urlsafe(48), encoding="ascii")
        return path.read_text(encoding="ascii")
