"""A place, tray, mix or lot called otherwise from now on: the journal says so, and can take it back."""

from traywarden.domain.garden import Probe
from traywarden.domain.journal import Entry, Kind
from traywarden.errors import UnknownNameError, UsageError
from traywarden.store import garden as garden_store
from traywarden.store import journal as journal_store
from traywarden.store import probes as probe_store
from traywarden.store.names import TABLES, name_of, set_name
from traywarden.store.store import Tx

NOUNS = tuple(TABLES)


def rename(tx: Tx, noun: str, name: str, new: str, now_ms: int) -> Entry:
    """Call it by a new name, everywhere and for all of its past; the entry that tells of it.

    Raises UnknownNameError, and UsageError where the new name cannot be, or is the old one.
    """
    if noun not in NOUNS:
        raise UsageError(f"A “{noun[:40]}” has no name to change; give one of {', '.join(NOUNS)}.")
    number, was = _numbered(tx, noun, name)
    called = garden_store.clean_name(noun, new)
    if called == was:
        raise UsageError(f"The {noun} is called “{was}” already; give another name.")
    set_name(tx, noun, number, called)
    data = {"noun": noun, "was": was, "name": called}
    return journal_store.write(
        tx,
        Kind.RENAMED,
        now_ms,
        now_ms,
        place_id=number if noun == "place" else None,
        tray_id=number if noun == "tray" else None,
        mix_id=number if noun == "mix" else None,
        lot_id=number if noun == "lot" else None,
        data=data,
    )


def call_probe(tx: Tx, name: str, label: str) -> Probe:
    """What a probe is called on pages and in notices; it goes on reporting under its own name.

    An empty label takes it back. Raises UnknownNameError; UsageError where the label cannot be or is taken.
    """
    known = probe_store.probes(tx)
    probe = next((each for each in known if name in (each.name, each.called)), None)
    if probe is None:
        raise UnknownNameError("probe", name, [each.called for each in known])
    label = garden_store.clean_name("probe", label) if label.strip() else ""
    for other in known:
        taken = {other.name.casefold(), other.called.casefold()}
        if other.probe_id != probe.probe_id and label.casefold() in taken:
            raise UsageError(f"There is already a probe called “{other.called}”; choose another name.")
    probe_store.call(tx, probe.probe_id, "" if label == probe.name else label)
    return probe_store.probe_named(tx, probe.name)


def named_back(tx: Tx, entry: Entry, *, again: bool = False) -> None:
    """Undo what a renaming did; `again`: do it once more. Raises UsageError where it is called otherwise."""
    noun = str(entry.data["noun"])
    number = getattr(entry, f"{noun}_id")
    was, called = str(entry.data["was"]), str(entry.data["name"])
    there, wanted = (was, called) if again else (called, was)
    now = name_of(tx, noun, number)
    if now != there:
        raise UsageError(
            f"The {noun} is called “{now}” by now, not “{there}”; rename it instead of taking this back."
        )
    set_name(tx, noun, number, wanted)


def _numbered(tx: Tx, noun: str, name: str) -> tuple[int, str]:
    if noun == "tray":
        tray = garden_store.tray_named(tx, name)
        return tray.tray_id, tray.name
    if noun == "place":
        place = garden_store.place_named(tx, name)
        return place.place_id, place.name
    if noun == "mix":
        mix = garden_store.mix_named(tx, name)
        return mix.mix_id, mix.name
    lot = garden_store.lot_named(tx, name)
    return lot.lot_id, lot.name
