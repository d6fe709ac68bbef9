"""Settings: one typed table; `<home>/settings.toml` and TRAYWARDEN_<SECTION>_<NAME> fill it.

Every problem is reported at once, with “did you mean”; a service refuses to start on a bad one.
"""

from traywarden.settings.kinds import Between, Channel, OneOf, Secret, Setting, ZeroOr
from traywarden.settings.loading import (
    Settings,
    changed,
    default_home,
    fixed_by,
    general_key,
    load,
    not_for_one,
    whose,
    with_at_once,
)
from traywarden.settings.table import AT_ONCE, BY_KEY, FILE_ONLY, TABLE
from traywarden.settings.writing import (
    add_channel,
    change_channel,
    change_settings,
    remove_channel,
    take_back,
)

__all__ = [
    "AT_ONCE",
    "BY_KEY",
    "FILE_ONLY",
    "TABLE",
    "Between",
    "Channel",
    "OneOf",
    "Secret",
    "Setting",
    "Settings",
    "ZeroOr",
    "add_channel",
    "change_channel",
    "change_settings",
    "changed",
    "default_home",
    "fixed_by",
    "general_key",
    "load",
    "not_for_one",
    "remove_channel",
    "take_back",
    "whose",
    "with_at_once",
]
