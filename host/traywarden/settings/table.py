"""The table of settings, one row each, by topic."""

from traywarden.settings import connections, growing, showing, telling
from traywarden.settings.kinds import Setting

TABLE: tuple[Setting, ...] = (*connections.ROWS, *growing.ROWS, *telling.ROWS, *showing.ROWS)
BY_KEY = {row.key: row for row in TABLE}
