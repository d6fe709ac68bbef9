"""Opens a publisher that speaks as a probe: SenML packs on the probe's own topics."""

import ssl
from collections.abc import Sequence

from traywarden.domain.readings import Reading
from traywarden.links.publisher import ProbePublisher
from traywarden.wire import packs, topics


def probe_publisher(
    host: str,
    port: int,
    garden: str,
    probe: str,
    *,
    client_id: str = "",
    user: str = "",
    password: str = "",
    tls: ssl.SSLContext | None = None,
    instants_per_pack: int = 12,
    window_packs: int = 64,
    silence_s: float = 5.0,
) -> ProbePublisher:
    """A publisher for one probe of a garden (by its slug); `connect()` it before use, `close()` it after."""

    def encode(readings: Sequence[Reading], oldest: int) -> bytes:
        return packs.pack_from_readings(list(readings), oldest=oldest)

    return ProbePublisher(
        host,
        port,
        readings_topic=topics.readings_topic(garden, probe),
        receipt_topic=topics.receipt_topic(garden, probe),
        encode=encode,
        client_id=client_id or f"{garden}-{probe}",
        user=user,
        password=password,
        tls=tls,
        instants_per_pack=instants_per_pack,
        window_packs=window_packs,
        silence_s=silence_s,
    )
