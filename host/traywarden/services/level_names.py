"""Levels and delays given for a crop or a mix by a name that nothing has: said, as they would lie idle."""

from collections.abc import Iterator, Mapping

from traywarden.domain.journal import Kind
from traywarden.domain.stage import Stage
from traywarden.errors import UnknownNameError, UsageError, asked, did_you_mean
from traywarden.services.hushing import rule_names
from traywarden.settings import BY_KEY, Settings, general_key, not_for_one, ruling, telling, whose
from traywarden.store import garden as garden_store
from traywarden.store import journal as journal_store
from traywarden.store.crops import crop_named, load_crops
from traywarden.store.store import Tx


def idle_levels(tx: Tx, settings: Settings) -> list[str]:
    """One sentence for each crop or mix that levels are given for and that there is not.

    A crop may stand in the table of crops, or be written down by that name; a stage that there is not is
    refused when the settings are read.
    """
    return [sentence for _, sentence in idle(tx, settings)]


def idle(tx: Tx, settings: Settings) -> Iterator[tuple[str, str]]:
    """Each key that nothing goes by, and that in a sentence."""
    if not settings.overrides:
        return
    mixes = {mix.name for mix in garden_store.mixes(tx)}
    crops: set[str] | None = None
    for key in sorted(settings.overrides):
        _, kind, which, _ = whose(key)
        if kind == "mix" and which not in mixes:
            yield key, _said(key, kind, which, did_you_mean(which, mixes))
        elif kind == "crop":
            crops = _crops(tx) if crops is None else crops
            if which not in crops:
                yield key, _said(key, kind, which, _near(which, crops))


def key_for(tx: Tx, setting: str, *, crop: str = "", mix: str = "", stage: str = "") -> str:
    """The key of a level or delay, or of the same for one crop, mix or stage; `setting` may name one already,
    as “dry.crop.lettuce.open_delay_s” does.

    Raises UsageError (no setting of a rule, more than one of the three), UnknownNameError.
    """
    if general := general_key(setting):
        if crop or mix or stage:
            raise UsageError(f"{setting} says already what it is for; leave --crop, --mix and --stage out.")
        _, of, which, _ = whose(setting)
        return key_for(tx, general, **{of: which})
    if said := not_for_one(setting):
        raise UsageError(asked(f"{setting}: {said}."))
    rule = setting.partition(".")[0]
    known = [row.key for row in (*telling.ROWS, *ruling.ROWS) if row.key.partition(".")[0] in rule_names()]
    if setting not in known:
        raise UnknownNameError("level or delay of a rule", setting, known)
    given = {kind: name for kind, name in (("crop", crop), ("mix", mix), ("stage", stage)) if name}
    if not given:
        return setting
    if len(given) > 1:
        raise UsageError(
            "Say one of crop, mix and stage: the crop's counts before the mix's and the stage's."
        )
    ((kind, name),) = given.items()
    if not BY_KEY[setting].varies:
        raise UsageError(f"{setting} holds for all; it cannot be given for one {kind}.")
    if kind == "crop" and name not in _crops(tx):
        name = crop_named(name).key
    elif kind == "mix":
        name = garden_store.mix_named(tx, name).name
    elif kind == "stage" and name not in list(Stage):
        raise UnknownNameError("stage", name, list(Stage))
    return f"{rule}.{kind}.{name}.{setting.partition('.')[2]}"


def changes_of(tx: Tx, texts: Mapping[str, str]) -> dict[str, str]:
    """Settings given otherwise, with the names of crops, mixes and stages as they are kept.

    Raises UnknownNameError (a crop, a mix), UsageError (the same setting twice). What is no setting at all is
    left for those who take them.
    """
    found: dict[str, str] = {}
    for key, text in texts.items():
        known = key_for(tx, key) if general_key(key) else key
        if known in found:
            raise UsageError(f"{known} is given twice; say one number for it.")
        found[known] = text
    return found


def _said(key: str, kind: str, which: str, hint: str) -> str:
    return asked(f"{key} counts for nothing: there is no {kind} called “{which}”{hint}.")


def _near(which: str, crops: set[str]) -> str:
    """By the name a grower would type, or by how it is written."""
    try:
        return f"; did you mean “{crop_named(which).key}”"
    except UnknownNameError:
        return did_you_mean(which, crops)


def _crops(tx: Tx) -> set[str]:
    lots = {lot.crop for lot in garden_store.lots(tx)}
    sown = {str(e.data.get("crop") or "") for e in journal_store.entries(tx) if e.kind is Kind.SOWED}
    return {*load_crops(), *lots, *sown}
