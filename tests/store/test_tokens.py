"""Tokens in the store: by name for people, by digest for whoever asks."""

import pytest

from traywarden.errors import UnknownNameError, UsageError
from traywarden.services.tokens import BEGINNING, let_in, make_token
from traywarden.store import tokens
from traywarden.store.store import Store


def test_a_token_is_known_by_itself_alone(store: Store) -> None:
    with store.write() as tx:
        made = make_token(tx, " display ", 5, writes=False)
        other = make_token(tx, "phone", 6, writes=True)
    assert made.secret != other.secret
    with store.read() as tx:
        assert tokens.tokens(tx) == [made.token, other.token]
        assert (made.token.name, made.token.writes, made.token.made_ms) == ("display", False, 5)
        assert let_in(tx, made.secret) == made.token
        assert let_in(tx, other.secret) == other.token
        for wrong in ("", BEGINNING, made.secret[:-1], made.secret + "a", made.secret.upper(), "\x00ä"):
            assert let_in(tx, wrong) is None


def test_a_name_is_taken_once_and_free_again_when_dropped(store: Store) -> None:
    with store.write() as tx:
        first = make_token(tx, "display", 5, writes=True)
        with pytest.raises(UsageError, match="already a token"):
            make_token(tx, "display", 6, writes=False)
        tokens.drop(tx, "display")
        assert let_in(tx, first.secret) is None
        with pytest.raises(UnknownNameError, match="no token called “display”"):
            tokens.drop(tx, "display")
        make_token(tx, "display", 7, writes=False)
        assert let_in(tx, first.secret) is None
