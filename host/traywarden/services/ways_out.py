"""Every way out for notices: the console, the channels of the settings, and the broker's topic."""

from collections.abc import Callable

from traywarden.links.channels import MQTT, Channel, made_channels
from traywarden.links.mqtt_notices import MqttChannel
from traywarden.services.running import running_host
from traywarden.settings import Settings
from traywarden.wire.topics import notices_topic


def ways_out(
    settings: Settings,
    say: Callable[[str], None],
    garden: str,
    address: Callable[[], tuple[str, int]] | None = None,
) -> dict[str, Channel]:
    """By name. `garden`: its name in topics; `address`: where the broker is, else as the settings say."""
    found = made_channels(settings, say)
    if settings["notices.mqtt"]:
        where = address or (lambda: _broker_address(settings))
        found[MQTT] = MqttChannel(settings, notices_topic(garden), where)
    return found


def _broker_address(settings: Settings) -> tuple[str, int]:
    """The built-in broker may have taken a port of its own when the host started."""
    running = running_host(settings.home) if settings["broker.builtin"] else None
    if running is not None:
        return running.broker_host, running.broker_port
    return settings["broker.host"], settings["broker.port"]
