"""The table of settings, one row each, by topic."""

from traywarden.settings import connections, growing, telling
from traywarden.settings.kinds import Setting

TABLE: tuple[Setting, ...] = (*connections.ROWS, *growing.ROWS, *telling.ROWS)
BY_KEY = {row.key: row for row in TABLE}
