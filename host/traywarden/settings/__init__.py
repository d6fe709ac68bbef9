"""Settings: one typed table; `<home>/settings.toml` and TRAYWARDEN_<SECTION>_<NAME> fill it.

Every problem is reported at once, with “did you mean”; a service refuses to start on a bad one.
"""

from traywarden.settings.kinds import Channel, Secret, Setting
from traywarden.settings.loading import Settings, default_home, load
from traywarden.settings.table import TABLE

__all__ = ["TABLE", "Channel", "Secret", "Setting", "Settings", "default_home", "load"]
