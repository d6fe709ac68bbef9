"""A test message over one channel, to see whether it arrives."""

from dataclasses import dataclass

from traywarden.errors import ChannelError
from traywarden.links.channels import Channel, Message


@dataclass(frozen=True, slots=True)
class ChannelTest:
    """Whether the other side took it; the reason where it did not."""

    channel: str
    delivered: bool
    reason: str


def send_test(channel: Channel, now_ms: int) -> ChannelTest:
    message = Message(
        f"test-{now_ms}",
        "info",
        "Traywarden: a test",
        "This channel works. It is only a test; no tray is meant.",
    )
    try:
        channel.send(message)
    except ChannelError as error:
        return ChannelTest(channel.name, False, str(error))
    return ChannelTest(channel.name, True, "")
