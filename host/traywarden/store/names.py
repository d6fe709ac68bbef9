"""Names of places, trays, mixes and lots changed: everything refers to their numbers, so the past stays."""

from sqlalchemy import Table, select, update

from traywarden.errors import UnknownNameError, UsageError
from traywarden.store import schema
from traywarden.store.garden import clean_name
from traywarden.store.store import Tx

TABLES: dict[str, Table] = {"place": schema.place, "tray": schema.tray, "mix": schema.mix, "lot": schema.lot}
"""What can be renamed, by its noun; its number is the column `<noun>_id`."""


def name_of(tx: Tx, noun: str, number: int) -> str:
    """Raises UnknownNameError where there is none of that number."""
    table = TABLES[noun]
    found = tx.scalar(select(table.c.name).where(table.c[f"{noun}_id"] == number))
    if found is None:
        raise UnknownNameError(noun, f"{number}", [])
    return str(found)


def set_name(tx: Tx, noun: str, number: int, name: str) -> str:
    """Give it another name; the name as it is kept. Raises UsageError where it cannot be one, or is taken."""
    table = TABLES[noun]
    name, own = clean_name(noun, name), table.c[f"{noun}_id"]
    for taken in tx.scalars(select(table.c.name).where(own != number)):
        if taken.casefold() == name.casefold():
            raise UsageError(f"There is already a {noun} called “{taken}”; choose another name.")
    tx.execute(update(table).where(own == number).values(name=name))
    return name
