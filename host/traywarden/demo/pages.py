"""The pages of the demo garden: on the usual port, or on a free one where that is taken."""

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace

from traywarden.errors import UsageError
from traywarden.settings import Settings
from traywarden.web.serving import Serving


@contextmanager
def pages_of(settings: Settings) -> Iterator[Serving]:
    """Serve them while entered."""
    serving = Serving(settings)
    try:
        serving.__enter__()
    except UsageError:  # an own garden's pages, or another demo's, are there already
        serving = Serving(replace(settings, values={**settings.values, "web.port": 0}))
        serving.__enter__()
    try:
        yield serving
    finally:
        serving.__exit__()
