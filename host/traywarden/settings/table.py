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
AT_ONCE = frozenset(row.key for row in (*growing.ROWS, *telling.ROWS, *ruling.ROWS))
"""Settings of questions and notices: pages and a running host go by a change at once. All others are read
when the host starts."""
FILE_ONLY = frozenset({"web", "store", "host"})
"""Sections that are changed in the file alone: a slip in them would shut out whoever made it on a page."""
