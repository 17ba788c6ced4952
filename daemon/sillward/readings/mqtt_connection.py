"""One connection to an MQTT broker, by paho: made, served for a while, lost or closed.

paho's own thread is not used. It would end for good with an error in a callback, and it does not
tell why it could not connect. A connection here is used by one thread, and no second one is made
with it. Nothing is queued for it while it is away (a clean start): such messages would come late,
without the time at which they were sent.

Reference: OASIS, MQTT 3.1.1 (2014) and MQTT 5.0 (2019).
"""

import secrets
import socket
from collections.abc import Callable, Sequence
from contextlib import suppress
from typing import TYPE_CHECKING, Any

from sillward.config.household import Broker
from sillward.errors import SillwardError, one_line

if TYPE_CHECKING:
    from paho.mqtt.client import Client, MQTTMessage

KEEPALIVE_S = 60
"""A connection without a sign of life from the broker for this long is lost [s]. It is what most
clients ask for."""

LOOP_S = 1.0
"""Longest time for which `serve` waits for something to come [s]: the end of a run may take this
long."""

MAX_PACKET_BYTES = 1_000_000
"""A broker that speaks MQTT 5 is asked not to send more at once. With 3.1.1 its own limit
counts."""

MAX_WORDS = 160
"""Characters of what a broker or the system says of an error."""

CLIENT_ID_PREFIX = "sillward"

Deliver = Callable[[str, bytes, bool], None]
"""Takes a message: its topic, its content, and whether the broker had kept it. It never raises."""


class BrokerError(SillwardError):
    """The broker cannot be reached, or does not want us; what to do is part of the words."""


class Connection:
    """A connection to a broker, subscribed to some topics."""

    def __init__(self, broker: Broker, topics: Sequence[str], deliver: Deliver) -> None:
        """Prepare it. Raise BrokerError if that cannot be.

        A client's id is new each time, since a broker throws out the older of two clients that have
        the same; at most 23 letters and digits are sure to be taken (3.1.1, section 3.1.3.1).
        """
        self._broker, self._topics, self._deliver = broker, topics, deliver
        self.denied: tuple[str, ...] = ()
        """The topics that may not be read."""
        self.is_subscribed = False
        """Whether the broker has answered to everything."""
        self._accepted = False
        self._refused: str | None = None
        self._lost: str | None = None
        self._client = self._new_client()

    def _new_client(self) -> "Client":
        try:
            from paho.mqtt import client as paho
            from paho.mqtt.enums import CallbackAPIVersion
        except ImportError:
            msg = "paho-mqtt is not installed: `pip install '.[mqtt]'` in a checkout"
            raise BrokerError(msg) from None
        broker = self._broker
        client = paho.Client(
            CallbackAPIVersion.VERSION2,
            client_id=f"{CLIENT_ID_PREFIX}{secrets.token_hex(7)}",
            protocol=paho.MQTTv5 if broker.version == "5" else paho.MQTTv311,
            reconnect_on_failure=False,
        )
        if broker.user is not None:
            password = broker.password
            client.username_pw_set(
                broker.user, None if password is None else password.get_secret_value()
            )
        if broker.tls:
            client.tls_set_context(_tls_context(broker))
        # An exception that leaves a callback ends the loop.
        client.on_connect = self._on_connect
        client.on_subscribe = self._on_subscribe
        client.on_message = self._on_message
        client.on_disconnect = self._on_disconnect
        return client

    def open(self) -> None:
        """Connect, as far as the network is concerned. Raise BrokerError."""
        broker = self._broker
        more: dict[str, Any] = {}
        if broker.version == "5":
            from paho.mqtt.packettypes import PacketTypes
            from paho.mqtt.properties import Properties

            properties: Any = Properties(PacketTypes.CONNECT)  # type: ignore[no-untyped-call]
            properties.MaximumPacketSize = MAX_PACKET_BYTES
            more = {"clean_start": True, "properties": properties}
        try:
            self._client.connect(broker.host, broker.port, KEEPALIVE_S, **more)
        except (OSError, ValueError) as error:
            raise BrokerError(_in_words(error, broker)) from None

    def serve(self) -> None:
        """Wait for a while for what comes, and deliver it. Raise BrokerError if it is lost."""
        from paho.mqtt.client import MQTT_ERR_SUCCESS, error_string

        try:
            code = self._client.loop(LOOP_S)
        except Exception as error:  # what comes is not MQTT
            msg = f"{self._broker.address} does not speak MQTT ({type(error).__name__})"
            raise BrokerError(msg) from error
        if self._refused is not None:
            raise BrokerError(self._refused)
        if code != MQTT_ERR_SUCCESS and not self._accepted:
            raise BrokerError(_no_answer(self._broker))
        if code != MQTT_ERR_SUCCESS:
            why = self._lost or error_string(code).strip(" .")
            msg = f"{self._broker.address}: the connection was lost ({one_line(why, MAX_WORDS)})"
            raise BrokerError(msg)

    def close(self) -> None:
        """Take leave of the broker, if that can be, and let go of all sockets."""
        client = self._client
        with suppress(Exception):
            client.disconnect()
        # They keep the client alive, which has sockets of its own until its end.
        client.on_connect = client.on_subscribe = client.on_message = client.on_disconnect = None

    # -- what paho calls

    def _on_connect(self, client: "Client", _data: Any, _flags: Any, reason: Any, _: Any) -> None:
        if reason.is_failure:
            self._refused = _refusal(str(reason), self._broker)
        else:
            self._accepted = True
            client.subscribe([(topic, 0) for topic in self._topics])

    def _on_subscribe(
        self, _client: "Client", _data: Any, _id: int, reasons: Sequence[Any], _: Any
    ) -> None:
        answers = zip(self._topics, reasons, strict=False)
        self.denied = tuple(topic for topic, reason in answers if reason.is_failure)
        self.is_subscribed = True

    def _on_message(self, _client: "Client", _data: Any, message: "MQTTMessage") -> None:
        try:
            topic = message.topic
        except UnicodeDecodeError:
            return  # not one of ours, which are UTF-8
        self._deliver(topic, bytes(message.payload), bool(message.retain))

    def _on_disconnect(
        self, _client: "Client", _data: Any, _flags: Any, reason: Any, _: Any
    ) -> None:
        self._lost = str(reason)


# -- in words


def _tls_context(broker: Broker) -> Any:
    import ssl

    try:
        return ssl.create_default_context(cafile=broker.ca)
    except (OSError, ValueError) as error:
        why = one_line(error, MAX_WORDS)
        msg = f"mqtt.ca: {broker.ca} is not a file of certificates that can be used ({why})"
        raise BrokerError(msg) from None


def _in_words(error: Exception, broker: Broker) -> str:
    """Return why there is no connection, and what to do."""
    import ssl

    if isinstance(error, ssl.SSLCertVerificationError):
        why = one_line(getattr(error, "verify_message", error), MAX_WORDS)
        return (
            f"{broker.address}: its certificate is not trusted ({why}); mqtt.ca names the "
            "certificate of its authority, and mqtt.host must be the name in the certificate"
        )
    if isinstance(error, (ssl.SSLError, ConnectionResetError)):
        return _no_answer(broker)
    if isinstance(error, (socket.gaierror, UnicodeError)):
        return f"{broker.host}: there is no machine of this name; check mqtt.host"
    if isinstance(error, TimeoutError):
        return f"{broker.address}: does not answer; check mqtt.host and mqtt.port"
    if isinstance(error, ConnectionRefusedError):
        return f"{broker.address}: nothing listens there; does the broker run, on this port?"
    said = error.strerror if isinstance(error, OSError) else None
    return f"{broker.address}: cannot be reached ({one_line(said or error, MAX_WORDS)})"


def _no_answer(broker: Broker) -> str:
    return (
        f"{broker.address}: something listens there, and ended the connection; is this the port "
        f"for MQTT {'with' if broker.tls else 'without'} tls?"
    )


def _refusal(reason: str, broker: Broker) -> str:
    """Return in words that the broker does not want us, and what to do."""
    who = f'the user "{broker.user}"' if broker.user is not None else "a client without a user"
    words = {
        "Bad user name or password": f"{who} or the password is wrong; check mqtt.user and its "
        "password (credential mqtt-password, or SILLWARD_MQTT__PASSWORD)",
        "Not authorized": f"{who} is not let in; check mqtt.user and its password (credential "
        "mqtt-password, or SILLWARD_MQTT__PASSWORD)",
        "Unsupported protocol version": f"it does not speak MQTT {broker.version}; set "
        f'mqtt.version = "{"3.1.1" if broker.version == "5" else "5"}"',
    }
    return f"{broker.address}: refused ({words.get(reason, one_line(reason, MAX_WORDS))})"
