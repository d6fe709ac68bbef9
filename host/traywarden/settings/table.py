"""The table of settings, one row each, by topic."""

from traywarden.settings import connections, growing, ruling, showing, telling, weekly
from traywarden.settings.kinds import Setting

TABLE: tuple[Setting, ...] = (
    *connections.ROWS,
    *growing.ROWS,
    *telling.ROWS,
    *ruling.ROWS,
    *weekly.ROWS,
    *showing.ROWS,
)
BY_KEY = {row.key: row for row in TABLE}
AT_ONCE = frozenset({"display", "coverage", "frames", "emergence", "moisture", "mix"})
"""Sections that only questions read: pages take a change at once, and the host for its notices when it
starts anew. All others are read when the host starts."""
FILE_ONLY = frozenset({"web", "store", "host"})
"""Sections that are changed in the file alone: a slip in them would shut out whoever made it on a page."""
