"""Whether a broker answers: a connection of a name of its own, which disturbs no lasting session."""

import secrets
import ssl
import threading
from typing import Any

import paho.mqtt.client as paho
from paho.mqtt.enums import CallbackAPIVersion
from paho.mqtt.reasoncodes import ReasonCode

from traywarden.errors import BrokerError
from traywarden.settings import Settings


def reach_broker(settings: Settings, host: str, port: int, timeout_s: float = 3.0) -> None:
    """Log in to the broker as the settings say, and out again.

    Raises BrokerError: nothing listens, it is no MQTT broker, it refuses the account, or TLS fails.
    """
    where = f"{host}:{port}"
    settled = threading.Event()
    answers: list[str] = []

    def connected(
        client: paho.Client, userdata: Any, flags: Any, reason: ReasonCode, properties: Any
    ) -> None:
        answers.append(str(reason) if reason.is_failure else "")
        settled.set()

    client = paho.Client(
        CallbackAPIVersion.VERSION2,
        client_id=f"traywarden-doctor-{secrets.token_hex(4)}",
        clean_session=True,
        protocol=paho.MQTTv311,
    )
    client.connect_timeout = timeout_s
    client.on_connect = connected
    if settings["broker.user"]:
        client.username_pw_set(settings["broker.user"], settings["broker.password"].reveal())
    try:
        if settings["broker.tls"]:
            client.tls_set_context(ssl.create_default_context(cafile=settings["broker.ca_file"] or None))
        client.connect(host, port)
    except ssl.SSLError as error:
        raise BrokerError(
            f"The broker at {where} and we cannot agree on TLS ({error.reason or error}); "
            "check broker.tls, broker.ca_file and broker.port."
        ) from error
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or error
        raise BrokerError(f"There is no MQTT broker at {where} ({reason}).") from error
    client.loop_start()
    try:
        settled.wait(timeout_s)
    finally:
        client.disconnect()
        client.loop_stop()
    if not answers:
        raise BrokerError(f"What listens at {where} does not answer as an MQTT broker does.")
    if answers[0]:
        raise BrokerError(
            f"The broker at {where} refused us ({answers[0]}); check broker.user and broker.password."
        )
