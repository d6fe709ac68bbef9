"""A certificate authority made for a test, what it signed for 127.0.0.1, and a stranger."""

import subprocess
from pathlib import Path

_AUTHORITY = (
    "openssl req -x509 -newkey rsa:2048 -nodes -keyout {0}.key -out {0}.pem -days 2 -subj /CN={0} "
    "-addext basicConstraints=critical,CA:TRUE -addext keyUsage=critical,keyCertSign"
)


def make_authority(folder: Path) -> Path:
    """Writes ca.pem, cert.pem with key.pem, and other.pem of an authority that signed neither."""
    (folder / "names").write_text(
        "subjectAltName=IP:127.0.0.1,DNS:localhost,DNS:broker.example\n", encoding="utf-8"
    )
    for command in (
        _AUTHORITY.format("ca"),
        "openssl req -newkey rsa:2048 -nodes -keyout key.pem -out broker.csr -subj /CN=broker.example",
        "openssl x509 -req -in broker.csr -CA ca.pem -CAkey ca.key -CAcreateserial -days 2 -extfile names "
        "-out cert.pem",
        _AUTHORITY.format("other"),
    ):
        subprocess.run(command.split(), cwd=folder, check=True, capture_output=True)
    return folder


def listener(folder: Path) -> str:
    """Mosquitto's lines for a listener that speaks TLS only."""
    return (
        f"allow_anonymous true\ncafile {folder}/ca.pem\ncertfile {folder}/cert.pem\nkeyfile {folder}/key.pem"
    )
