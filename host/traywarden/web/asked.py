"""What an address asks, and the answer or why there is none."""

from collections.abc import Callable, Hashable
from typing import TypeVar

from fastapi import Request

from traywarden.errors import StoreError, TraywardenError
from traywarden.services.questions.ground import Ground
from traywarden.web.face import Face

T = TypeVar("T")


class Asked(dict[str, str]):
    """Field by field; one that is not there, or was left empty, is empty."""

    @classmethod
    def of(cls, request: Request) -> "Asked":
        asked = {name: value.strip() for name, value in request.query_params.items() if name != "did"}
        return cls({name: value for name, value in asked.items() if value})

    def __missing__(self, key: str) -> str:
        return ""


def told(face: Face, key: Hashable, question: Callable[[Ground], T]) -> tuple[T | None, str]:
    """The answer shared under this key, or why there is none. Raises StoreError: then no page is right."""
    return or_why(lambda: face.ask(key, question))


def or_why(answer: Callable[[], T]) -> tuple[T | None, str]:
    """An answer, or why there is none. Raises StoreError."""
    try:
        return answer(), ""
    except StoreError:
        raise
    except TraywardenError as error:
        return None, str(error)
