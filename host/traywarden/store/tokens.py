"""Tokens of other programs: who may ask, who may write too. A token itself is never stored."""

from dataclasses import dataclass

from sqlalchemy import delete, insert, select

from traywarden.errors import UnknownNameError, UsageError
from traywarden.store import schema
from traywarden.store.garden import clean_name
from traywarden.store.store import Tx

_tokens = schema.api_token


@dataclass(frozen=True, slots=True)
class Token:
    """One program that is let in."""

    name: str
    writes: bool
    made_ms: int


def add(tx: Tx, name: str, digest: str, made_ms: int, *, writes: bool) -> Token:
    """Raises UsageError where the name cannot be used or is taken."""
    token = Token(clean_name("token", name), writes, made_ms)
    if any(known.name == token.name for known in tokens(tx)):
        raise UsageError(
            f"There is already a token called “{token.name}”; give another name, or take that one away first "
            f'with: traywarden token drop "{token.name}"'
        )
    tx.execute(
        insert(_tokens).values(name=token.name, digest=digest, writes=token.writes, made_ms=token.made_ms)
    )
    return token


def tokens(tx: Tx) -> list[Token]:
    """Every token, by its name."""
    chosen = select(_tokens.c.name, _tokens.c.writes, _tokens.c.made_ms).order_by(_tokens.c.name)
    return [Token(row.name, row.writes, row.made_ms) for row in tx.execute(chosen)]


def with_digest(tx: Tx, digest: str) -> Token | None:
    """The token of that digest, if it is let in."""
    chosen = select(_tokens.c.name, _tokens.c.writes, _tokens.c.made_ms).where(_tokens.c.digest == digest)
    row = tx.execute(chosen).first()
    return None if row is None else Token(row.name, row.writes, row.made_ms)


def drop(tx: Tx, name: str) -> None:
    """Raises UnknownNameError where there is none of that name."""
    if not tx.execute(delete(_tokens).where(_tokens.c.name == name)).rowcount:
        raise UnknownNameError("token", name, (token.name for token in tokens(tx)))
