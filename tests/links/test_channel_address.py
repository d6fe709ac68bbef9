"""An address made of parts is taken apart by apprise into the same parts."""

import warnings
from typing import Any
from urllib.parse import parse_qsl, urlsplit

import pytest
from apprise import Apprise

from traywarden.errors import UsageError
from traywarden.links.channel_address import Mail, mail_address, web_address


def as_read(address: str) -> Any:
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", DeprecationWarning)  # of what apprise imports
        return Apprise.instantiate(address)


@pytest.mark.parametrize("account", ["me@example.org", "me+tag@example.org", "gardener", "a%41"])
@pytest.mark.parametrize(
    "password", ["plain", "p@ss:w/o#r%d", "100%25", "a%41b", "a+b c", "a&b=c?", "é✓\"'", "%", "%%41", "a\\b"]
)
def test_whatever_is_in_an_account_and_its_password_reaches_the_mail_server(
    account: str, password: str
) -> None:
    mail = Mail("mail.example.org", "you@example.org", account, password, "bench@example.org")
    found = as_read(mail_address(mail))
    assert (found.user, found.password, found.smtp_host, found.port) == (
        account,
        password,
        "mail.example.org",
        587,
    )
    assert found.targets == [(False, "you@example.org")]


@pytest.mark.parametrize("query", ["token=a&y=", "token=a%20b%2Bc", "a=1&b=2"])
def test_what_stands_behind_a_web_address_is_posted_along(query: str) -> None:
    found = as_read(web_address(f"http://192.0.2.1:8000/hook?{query}"))
    assert found.params == dict(parse_qsl(query, keep_blank_values=True))


def test_a_web_address_that_could_not_be_posted_to_is_refused() -> None:
    with pytest.raises(UsageError, match="one name twice"):
        web_address("http://192.0.2.1/hook?x=1&x=2")
    assert urlsplit(web_address("http://192.0.2.1/hook")).query == ""
