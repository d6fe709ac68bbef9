"""Pages are opened to the phone on the page Settings: with a password, and only at an address that works."""

import socket

import pytest

from tests.web.conftest import Visitor
from traywarden.settings import load
from traywarden.web.serving import Serving

PASSWORD = "wet-hands-at-the-bench"


@pytest.fixture
def signed_in(visitor: Visitor) -> Visitor:
    visitor.send("/password", back="/settings", new=PASSWORD, again=PASSWORD)
    return visitor


def free_port() -> int:
    with socket.create_server(("127.0.0.1", 0)) as made:
        return int(made.getsockname()[1])


def written(visitor: Visitor) -> tuple[str, int]:
    settings = load(visitor.home, environ={})
    return settings["web.host"], settings["web.port"]


def test_without_a_password_nothing_is_opened(visitor: Visitor) -> None:
    assert "Set a password first" in visitor.words("/settings")
    assert 'action="/settings/open"' not in visitor.get("/settings")
    words = visitor.send("/settings/open", back="/settings", to="network", port="8470")
    assert "Set a password first" in words
    assert written(visitor) == ("127.0.0.1", 8470)


def test_opened_to_the_network_it_is_written_and_holds_at_the_next_start(signed_in: Visitor) -> None:
    port = free_port()
    words = signed_in.send("/settings/open", back="/settings", to="network", port=f"{port}")
    assert f"every device on the network, with the password, on port {port}" in words
    assert "when the host starts anew" in words
    assert written(signed_in) == ("0.0.0.0", port)
    assert f":{port}/" in signed_in.words("/settings")
    with Serving(load(signed_in.home, environ={})) as serving:
        assert f":{port}/" in serving.address
    words = signed_in.send("/settings/open", back="/settings", to="alone", port=f"{port}")
    assert "for this computer alone" in words
    assert written(signed_in) == ("127.0.0.1", port)


def test_an_address_of_ones_own_stays(signed_in: Visitor) -> None:
    (signed_in.home / "settings.toml").write_text('[web]\nhost = "192.168.7.7" # the bench\n')
    words = signed_in.send("/settings/open", back="/settings", to="network", port="8470")
    assert "Nothing was changed" in words
    assert "# the bench" in (signed_in.home / "settings.toml").read_text()


@pytest.mark.parametrize(
    ("fields", "says"),
    [
        ({"to": "network", "port": "0"}, "A port of 0 cannot be"),
        ({"to": "network", "port": "70000"}, "A port of 70000 cannot be"),
        ({"to": "network", "port": "8470.5"}, "is not a whole number"),
        ({"to": "everywhere", "port": "8470"}, "Choose who"),
    ],
)
def test_what_would_shut_the_pages_is_refused(signed_in: Visitor, fields: dict[str, str], says: str) -> None:
    assert says in signed_in.send("/settings/open", back="/settings", **fields)
    assert written(signed_in) == ("127.0.0.1", 8470)


def test_a_port_that_is_taken_is_refused(signed_in: Visitor) -> None:
    with socket.create_server(("0.0.0.0", 0)) as taken:
        port = taken.getsockname()[1]
        words = signed_in.send("/settings/open", back="/settings", to="network", port=f"{port}")
    assert f"Port {port} cannot be taken" in words


def test_what_the_environment_says_is_not_changed_here(
    signed_in: Visitor, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("TRAYWARDEN_WEB_PORT", "8471")
    assert "TRAYWARDEN_WEB_PORT says it" in signed_in.words("/settings")
    words = signed_in.send("/settings/open", back="/settings", to="network", port="8472")
    assert "set where Traywarden was started" in words
    assert not (signed_in.home / "settings.toml").exists()
