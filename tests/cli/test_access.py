"""`password` and `token`: what is set, shown once, listed, and taken away."""

import io

import pytest
import typer

from tests.cli.conftest import CommandLine
from traywarden.services.password import kept_hash, matches


def test_a_password_comes_from_standard_input(run: CommandLine, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("sys.stdin", io.StringIO("wren in a hedge\nmore\n"))
    assert "password is set" in run.ok("password", "set", "--stdin")
    assert matches(kept_hash(run.home), "wren in a hedge")
    assert run.json("password", "clear") == {"set": False, "was_set": True}
    assert "No password is set" in run.ok("password", "clear")
    monkeypatch.setattr("sys.stdin", io.StringIO(""))
    assert "no password on standard input" in run.refused("password", "set", "--stdin")
    assert kept_hash(run.home) == ""


def test_a_password_is_asked_twice_without_showing_it(
    run: CommandLine, monkeypatch: pytest.MonkeyPatch
) -> None:
    said = iter(["wren in a hedge", "wren in a hedge", "one of these", "and another"])
    hidden = []

    def prompt(text: str, *, hide_input: bool, err: bool) -> str:
        hidden.append((hide_input, err))
        return next(said)

    monkeypatch.setattr(typer, "prompt", prompt)
    run.ok("password", "set")
    assert "differ" in run.refused("password", "set")
    assert hidden == [(True, True)] * 4
    assert matches(kept_hash(run.home), "wren in a hedge")


def test_a_token_is_shown_once_and_never_again(garden: CommandLine) -> None:
    assert "No other program is let in" in garden.ok("token", "list")
    told = garden.json("token", "add", "kitchen display")
    secret = told["secret"]
    assert told["token"]["name"] == "kitchen display"
    assert told["token"]["writes"] is False
    words = garden.ok("token", "add", "phone", "--write")
    assert "may ask and write" in words
    for listed in (garden.ok("token", "list"), garden.ok("token", "list", "--json")):
        assert "kitchen display" in listed
        assert secret not in listed
    assert [each["writes"] for each in garden.json("token", "list")] == [False, True]


def test_names_of_tokens_are_checked(garden: CommandLine) -> None:
    garden.ok("token", "add", "phone")
    assert "already a token called “phone”" in garden.refused("token", "add", "phone")
    garden.refused("token", "add", " ")
    assert "did you mean “phone”" in garden.refused("token", "drop", "phones")
    assert "no longer let in" in garden.ok("token", "drop", "phone")
    assert garden.json("token", "list") == []
