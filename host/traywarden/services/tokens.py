"""Tokens that let other programs ask, and write too where they were made for it."""

import hashlib
import secrets
from collections.abc import Callable
from dataclasses import dataclass

from traywarden.store import tokens as token_store
from traywarden.store.store import Tx
from traywarden.store.tokens import Token

BYTES = 32
"""Random bytes in a token. So long a one cannot be guessed, and a plain digest of it tells nothing."""
BEGINNING = "traywarden_"
"""How every token begins, so that one left lying about is known for what it is."""


@dataclass(frozen=True, slots=True)
class MadeToken:
    """A token that was just made. The `secret` is shown this once; only its digest is kept."""

    token: Token
    secret: str


def make_token(
    tx: Tx, name: str, now_ms: int, *, writes: bool, chance: Callable[[int], str] = secrets.token_urlsafe
) -> MadeToken:
    """Raises UsageError where the name cannot be used or is taken."""
    secret = BEGINNING + chance(BYTES)
    return MadeToken(token_store.add(tx, name, _digest(secret), now_ms, writes=writes), secret)


def let_in(tx: Tx, secret: str) -> Token | None:
    """The token that this is, if it is one that was made and not dropped."""
    return token_store.with_digest(tx, _digest(secret)) if secret.startswith(BEGINNING) else None


def _digest(secret: str) -> str:
    return hashlib.sha256(secret.encode()).hexdigest()
