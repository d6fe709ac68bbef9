"""A visitor who knows only what stands in the HTML: its links, its fields and its buttons."""

from collections.abc import Collection, Mapping
from dataclasses import dataclass, field
from html.parser import HTMLParser
from typing import Any

from fastapi.testclient import TestClient
from httpx2 import Response

Fill = str | bool | list[str] | tuple[str, bytes]
"""What goes into a field: words, whether it is ticked, which of several boxes, or a file's name and bytes."""


@dataclass(slots=True)
class Field:
    name: str
    kind: str
    value: str = ""
    options: list[str] = field(default_factory=list)
    needed: bool = False
    longest: int | None = None
    ticked: bool = False


@dataclass(slots=True)
class Form:
    action: str
    method: str
    fields: list[Field] = field(default_factory=list)
    buttons: list[tuple[str, str, str]] = field(default_factory=list)
    """Name, value and words."""

    def named(self, name: str) -> list[Field]:
        return [each for each in self.fields if each.name == name]


class _Reader(HTMLParser):
    def __init__(self) -> None:
        super().__init__(convert_charrefs=True)
        self.forms: list[Form] = []
        self.links: list[tuple[str, str]] = []
        self.words = ""
        self._form: Form | None = None
        self._field: Field | None = None
        self._option: str | None = None
        self._link: str | None = None
        self._text = ""
        self._main = 0

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        said = {name: value or "" for name, value in attrs}
        self._main += tag == "main"
        if tag == "a" and "href" in said:
            self._link, self._text = said["href"], ""
        elif tag == "form":
            self._form = Form(said.get("action", ""), said.get("method", "get").lower())
            self.forms.append(self._form)
        elif self._form is not None:
            self._in_form(tag, said, self._form)

    def _in_form(self, tag: str, said: dict[str, str], form: Form) -> None:
        if tag in ("input", "select", "textarea") and said.get("name"):
            longest = int(said["maxlength"]) if "maxlength" in said else None
            kind = said.get("type", "text") if tag == "input" else tag
            made = Field(said["name"], kind, said.get("value", ""), [], "required" in said, longest)
            made.ticked = "checked" in said
            form.fields.append(made)
            self._field = made if tag != "input" else None
            self._text = ""
        elif tag == "option" and self._field is not None:
            self._option, self._text = said.get("value"), ""
            if "selected" in said:
                self._field.ticked = True  # the next option that ends is the chosen one
        elif tag == "button":
            form.buttons.append((said.get("name", ""), said.get("value", ""), ""))
            self._text = ""

    def handle_endtag(self, tag: str) -> None:
        self._main -= tag == "main"
        if tag == "a" and self._link is not None:
            self.links.append((self._link, " ".join(self._text.split())))
            self._link = None
        elif tag == "form":
            self._form = None
        elif tag == "option" and self._field is not None:
            value = self._text.strip() if self._option is None else self._option
            if not self._field.options or self._field.ticked:
                self._field.value = value
            self._field.ticked = False
            self._field.options.append(value)
        elif tag == "textarea" and self._field is not None:
            self._field.value = self._text.removeprefix("\n")
        elif tag == "button" and self._form is not None:
            name, value, _ = self._form.buttons[-1]
            self._form.buttons[-1] = (name, value, " ".join(self._text.split()))
        if tag in ("select", "textarea"):
            self._field = None

    def handle_data(self, data: str) -> None:
        self._text += data
        if self._main:
            self.words += data


@dataclass(frozen=True, slots=True)
class Page:
    path: str
    status: int
    links: list[tuple[str, str]]
    forms: list[Form]
    words: str

    def form(self, action: str, fields: Collection[str] = (), **held: str) -> Form:
        """The first form to that address that has these fields, and holds those values already."""
        for form in self.forms:
            has = all(form.named(name) for name in fields)
            holds = all(any(each.value == value for each in form.named(name)) for name, value in held.items())
            if form.action == action and has and holds:
                return form
        raise AssertionError(f"{self.path} has no form to {action} with {held}")


class Reader:
    """A browser without scripts."""

    def __init__(self, client: TestClient) -> None:
        self._client = client

    def open(self, path: str) -> Page:
        return self.read(self._client.get(path))

    def follow(self, page: Page, words: str) -> Page:
        """The first link whose words begin like that."""
        for href, said in page.links:
            if said.startswith(words):
                return self.open(href)
        raise AssertionError(f"{page.path} has no link “{words}”")

    def send(self, form: Form, fill: Mapping[str, Fill], button: str = "") -> Page:
        """Fill it in and press its button, or the one with those words; the page that comes of it.

        What a browser would not let a person do fails: an unknown field, a choice that is not offered, too
        many characters, a field left empty that is needed.
        """
        data, files = self._filled(form, fill)
        names = [words for _, _, words in form.buttons]
        assert form.buttons, "a form without a button"
        name, value, _ = form.buttons[names.index(button) if button else 0]
        if name:
            data.setdefault(name, []).append(value)
        if form.method == "get":
            return self.read(self._client.get(form.action, params=data))
        return self.read(self._client.post(form.action, data=data, files=files or None))

    @staticmethod
    def _filled(form: Form, fill: Mapping[str, Fill]) -> tuple[dict[str, Any], dict[str, Any]]:
        unknown = set(fill) - {each.name for each in form.fields}
        assert not unknown, f"the form to {form.action} has no field {unknown}"
        data: dict[str, Any] = {}
        files: dict[str, Any] = {}
        for each in form.fields:
            wanted = fill.get(each.name)
            if isinstance(wanted, tuple):
                assert each.kind == "file", each.name
                files[each.name] = wanted
            elif each.kind in ("checkbox", "radio"):
                tick = each.value in wanted if isinstance(wanted, list) else wanted
                if each.ticked if tick is None else tick:
                    data.setdefault(each.name, []).append(each.value)
            else:
                value = each.value if wanted is None else str(wanted)
                if wanted is not None:
                    assert each.kind != "hidden", f"{each.name} cannot be typed"
                    assert each.kind != "select" or value in each.options, f"{value} of {each.options}"
                    assert each.longest is None or len(value) <= each.longest, each.name
                assert value or not each.needed, f"{each.name} is needed"
                data.setdefault(each.name, []).append(value)
        return data, files

    @staticmethod
    def read(answer: Response) -> Page:
        assert answer.status_code == 200, f"{answer.url}: {answer.status_code} {answer.text[:300]}"
        read = _Reader()
        read.feed(answer.text)
        words = " ".join(read.words.split())
        return Page(answer.url.raw_path.decode(), answer.status_code, read.links, read.forms, words)
