"""The address of a channel, put together from what a grower knows of their mail or their own program."""

import re
from dataclasses import dataclass
from urllib.parse import parse_qsl, quote, urlencode, urlsplit

from traywarden.errors import UsageError

PORTS = {"starttls": 587, "ssl": 465, "insecure": 25}
"""Ways to a mail server: encrypted after the greeting, encrypted from the first letter on, not at all."""
WEB = {"http": "json", "https": "jsons"}
_MAIL = re.compile(r"[^\s@]+@[^\s@]+")
_HOST = re.compile(r"[A-Za-z0-9](?:[A-Za-z0-9.-]*[A-Za-z0-9])?")


@dataclass(frozen=True, slots=True)
class Mail:
    """A mail account. `account`, `password` empty: the server asks for none; `sender` empty: the account."""

    server: str
    to: str
    account: str = ""
    password: str = ""
    sender: str = ""
    way: str = "starttls"
    port: int | None = None


def mail_address(mail: Mail) -> str:
    """The address by which apprise sends mail.

    Example
    -------
    >>> mail_address(Mail("mail.example.org", "me@example.org", way="insecure"))
    'mailto://mail.example.org:25?smtp=mail.example.org&from=me%40example.org&to=me%40example.org&mode=insecure'
    """
    if not _HOST.fullmatch(mail.server):
        raise UsageError("Give the name of the mail server alone, such as mail.example.org.")
    if mail.way not in PORTS:
        raise UsageError(f"“{mail.way[:20]}” is no way to a mail server; choose one from the list.")
    if mail.port is not None and not 1 <= mail.port <= 65_535:
        raise UsageError("A port is a number from 1 to 65535; leave it empty for the usual one.")
    if bool(mail.account) != bool(mail.password):
        raise UsageError("Account and password belong together: give both, or neither.")
    sender = mail.sender or (mail.account if "@" in mail.account else mail.to)
    for what, address in (("To", mail.to), ("From", sender)):
        if not _MAIL.fullmatch(address):
            raise UsageError(f"{what}: give a mail address such as me@example.org.")
    login = {"user": mail.account, "pass": mail.password}
    fields = {name: value.replace("%", "%25") for name, value in login.items()}  # apprise decodes them twice
    fields |= {"smtp": mail.server}
    fields |= {"from": sender, "to": mail.to, "mode": mail.way}
    scheme = "mailto" if mail.way == "insecure" else "mailtos"
    said = urlencode({name: value for name, value in fields.items() if value}, quote_via=quote, safe="")
    return f"{scheme}://{mail.server}:{mail.port or PORTS[mail.way]}?{said}"


def web_address(url: str) -> str:
    """The address by which apprise posts JSON to a web address.

    Example
    -------
    >>> web_address("https://home.example.org/hooks/garden?key=a%20b")
    'jsons://home.example.org/hooks/garden?-key=a%20b'
    """
    parts = urlsplit(url)
    if parts.scheme not in WEB or not parts.hostname or re.search(r"\s", url):
        raise UsageError("Give a web address that begins with http:// or https://.")
    asked = parse_qsl(parts.query, keep_blank_values=True)
    if len(dict(asked)) < len(asked):
        raise UsageError("The address gives one name twice behind its “?”; that cannot be posted to.")
    query = urlencode([(f"-{name}", value) for name, value in asked], quote_via=quote)
    return f"{WEB[parts.scheme]}://{parts.netloc}{parts.path}{f'?{query}' if query else ''}"


def kind_words(url: str) -> str:
    """What sort of way it is, without anything of the address that may be secret.

    Example
    -------
    >>> [kind_words(each) for each in ("mailtos://u:p@h", "json://h", "ntfy://topic")]
    ['mail', 'a web address', 'ntfy']
    """
    scheme = urlsplit(url).scheme
    return {"mailto": "mail", "mailtos": "mail", "json": "a web address", "jsons": "a web address"}.get(
        scheme, scheme
    )
