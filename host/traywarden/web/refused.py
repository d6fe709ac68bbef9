"""A form that was refused comes back as it was typed: kept until its visitor's next page, and filled in."""

import secrets
import threading
import time
from collections.abc import Sequence
from dataclasses import dataclass
from html import escape
from html.parser import HTMLParser

MOST_KEPT, KEPT_S, MOST_LETTERS = 50, 600.0, 40_000
OURS = frozenset({"form_token", "back", "again"})
"""Hidden fields that tell no form from another."""
NOT_FILLED = frozenset({"hidden", "password", "file", "submit"})
NEVER_FILLED = frozenset({"url"})
"""Fields that show what is typed, and may hold a token: not shown again all the same."""
SECRET = ("/password", "/sign-in")
Attributes = list[tuple[str, str | None]]


@dataclass(frozen=True, slots=True)
class Sent:
    """Where a form was sent, and its fields in order."""

    action: str
    fields: tuple[tuple[str, str], ...]

    def last(self, name: str) -> str | None:
        return next((value for each, value in reversed(self.fields) if each == name), None)


class Refused:
    """Forms that were refused, by a token in their visitor's session; in memory alone."""

    def __init__(self) -> None:
        self._kept: dict[str, tuple[float, Sent]] = {}
        self._lock = threading.Lock()

    def keep(self, action: str, fields: Sequence[tuple[str, str]]) -> str:
        """The token; empty where it is not kept: what is secret, or too long."""
        if action in SECRET or sum(len(value) for _, value in fields) > MOST_LETTERS:
            return ""
        token, now_s = secrets.token_hex(8), time.monotonic()
        with self._lock:
            self._kept = {key: each for key, each in self._kept.items() if now_s - each[0] < KEPT_S}
            while len(self._kept) >= MOST_KEPT:
                self._kept.pop(next(iter(self._kept)))
            self._kept[token] = (now_s, Sent(action, tuple(fields)))
        return token

    def take(self, token: str) -> Sent | None:
        with self._lock:
            found = self._kept.pop(token, None)
        return found[1] if found else None


def filled_in(page: str, sent: Sent) -> str:
    """The page with the form that was sent filled in as it was sent, and what folds it away opened."""
    finder = _Finder(sent)
    finder.feed(page)
    if finder.found is None:
        return page
    filler = _Filler(sent, finder.found, finder.around)
    filler.feed(page)
    filler.close()
    return "".join(filler.made)


class _Finder(HTMLParser):
    """The first form of that action whose own hidden fields hold what was sent; and the folds around it."""

    def __init__(self, sent: Sent) -> None:
        super().__init__()
        self._sent = sent
        self._folds: list[int] = []
        self._number = self._fold = 0
        self._fits = False
        self.found: int | None = None
        self.around: frozenset[int] = frozenset()
        self._here: frozenset[int] = frozenset()

    def handle_starttag(self, tag: str, attrs: Attributes) -> None:
        said = dict(attrs)
        if tag == "details":
            self._folds.append(self._fold)
            self._fold += 1
        elif tag == "form":
            self._number += 1
            self._fits = said.get("action") == self._sent.action
            self._here = frozenset(self._folds)
        elif tag == "input" and self._fits and said.get("type") == "hidden":
            name = said.get("name") or ""
            if name not in OURS and self._sent.last(name) != said.get("value"):
                self._fits = False

    def handle_endtag(self, tag: str) -> None:
        if tag == "details" and self._folds:
            self._folds.pop()
        elif tag == "form" and self._fits and self.found is None:
            self.found, self.around, self._fits = self._number, self._here, False


class _Filler(HTMLParser):
    """Copies the page, and in one form puts in what was sent."""

    def __init__(self, sent: Sent, form: int, folds: frozenset[int]) -> None:
        super().__init__(convert_charrefs=False)
        self._sent, self._form, self._folds = sent, form, folds
        self._number = self._fold = 0
        self._inside = False
        self._select: str | None = None
        self._skips = False
        self.made: list[str] = []

    def handle_starttag(self, tag: str, attrs: Attributes) -> None:
        text, said = self.get_starttag_text() or "", dict(attrs)
        if tag == "details":
            if (self._fold in self._folds or self._inside) and "open" not in said:
                text = _tag(tag, [*attrs, ("open", None)])
            self._fold += 1
        elif tag == "form":
            self._number += 1
            self._inside = self._number == self._form
            if self._inside:
                text = _tag(tag, [*attrs, ("data-kept", None)])
        elif self._inside:
            text = self._field(tag, attrs, said, text)
        self.made.append(text)

    def _field(self, tag: str, attrs: Attributes, said: dict[str, str | None], text: str) -> str:
        name = said.get("name") or ""
        if tag == "select":
            self._select = name
        elif tag == "option" and self._select is not None and said.get("value") is not None:
            rest: Attributes = [each for each in attrs if each[0] != "selected"]
            chosen = self._sent.last(self._select) == said["value"]
            return _tag(tag, [*rest, ("selected", None)] if chosen else rest)
        elif tag == "textarea" and (value := self._sent.last(name)) is not None:
            self._skips = True
            return f"{text}\n{escape(value)}"
        elif tag == "input" and (said.get("type") or "text") not in NOT_FILLED and name not in NEVER_FILLED:
            if said.get("type") == "checkbox":
                rest = [each for each in attrs if each[0] != "checked"]
                ticked = (name, said.get("value") or "on") in self._sent.fields
                return _tag(tag, [*rest, ("checked", None)] if ticked else rest)
            if (value := self._sent.last(name)) is not None:
                return _tag(tag, [*(each for each in attrs if each[0] != "value"), ("value", value)])
        return text

    def handle_endtag(self, tag: str) -> None:
        if tag == "textarea":
            self._skips = False
        elif tag == "select":
            self._select = None
        elif tag == "form":
            self._inside = False
        self.made.append(f"</{tag}>")

    def handle_startendtag(self, tag: str, attrs: Attributes) -> None:
        self.made.append(self.get_starttag_text() or "")

    def handle_data(self, data: str) -> None:
        if not self._skips:
            self.made.append(data)

    def handle_entityref(self, name: str) -> None:
        self.handle_data(f"&{name};")

    def handle_charref(self, name: str) -> None:
        self.handle_data(f"&#{name};")

    def handle_comment(self, data: str) -> None:
        self.made.append(f"<!--{data}-->")

    def handle_decl(self, decl: str) -> None:
        self.made.append(f"<!{decl}>")


def _tag(tag: str, attrs: Attributes) -> str:
    told = "".join(f' {name}="{escape(value)}"' if value is not None else f" {name}" for name, value in attrs)
    return f"<{tag}{told}>"
