"""MQTT 3.1.1 and 5 driver: channels from a broker.

It only subscribes, and publishes nothing except Drumside's online status, if the sheet names a topic for it. It imports
paho, so `build_instruments` imports it only if a machine has an MQTT channel.
"""

import contextlib
import secrets
import socket
import ssl
import threading
from collections import defaultdict
from collections.abc import Callable, Collection, Mapping
from typing import Any, Final

from paho.mqtt.client import Client, MQTTMessage
from paho.mqtt.enums import CallbackAPIVersion, MQTTErrorCode, MQTTProtocolVersion
from paho.mqtt.reasoncodes import ReasonCode

from roastlog.clock import Clock
from roastlog.errors import InstrumentError
from roastlog.instruments.base import ReadFault, Reading
from roastlog.instruments.inbox import Inbox
from roastlog.instruments.reach import unreachable_reason
from roastlog.languages import _
from roastlog.machine.decoding import json_number, json_steps, plain_number, printable, scaled
from roastlog.machine.sources import Broker, MqttPoint

CREDENTIALS_RETRY_S: Final = 60.0  # pause after refused credentials: brokers lock out clients that retry fast
MAX_MESSAGE_BYTES: Final = 65_536
_DISCONNECT_WAIT_S: Final = 0.5
_CREDENTIALS: Final = {134, 135}  # bad user name or password, not authorised (MQTT 5, section 3.2.2.2; from memory)
_VERSIONS: Final = {"3.1.1": MQTTProtocolVersion.MQTTv311, "5": MQTTProtocolVersion.MQTTv5}


class MqttInstrument:
    """One connection to a broker, with all its channels.

    Sessions are always clean: messages that a broker queues for us have no timestamp, and an old reading must not look
    new.

    Parameters
    ----------
    points
        Points by channel id, all of one broker.
    clock
        Timestamps each reading on arrival of its message.
    timeout_s
        Timeout of the connection and of each answer. [s]
    keepalive_s
        Keepalive interval; the broker counts as lost after one and a half intervals. [s]
    """

    def __init__(
        self, points: Mapping[str, MqttPoint], clock: Clock, *, timeout_s: float = 1.0, keepalive_s: int = 4
    ) -> None:
        brokers = {point.broker for point in points.values()}
        if len(brokers) != 1:
            raise ValueError(_("An MQTT link has one broker."))
        self._broker = brokers.pop()
        self._where = f"{self._broker.host}:{self._broker.port}"
        self.name = f"mqtt {self._where}"
        self._clock, self._timeout_s, self._keepalive_s = clock, timeout_s, keepalive_s
        self._topics: defaultdict[str, dict[str, Callable[[str], float]]] = defaultdict(dict)
        for name, point in points.items():
            self._topics[point.topic][name] = _reader(point)
        self._inbox = Inbox(self.name, {name: point.silent_s for name, point in points.items()}, clock)
        self._session: _Session | None = None
        self._retry_at_ms = 0  # next try after refused credentials [ms UTC]

    @property
    def rejected(self) -> int:
        """Number of invalid messages."""
        return self._inbox.rejected

    def open(self) -> None:
        """Connect and subscribe, or raise `InstrumentError`. Safe to call again after a loss."""
        self.close()
        if self._clock.now_ms() < self._retry_at_ms:
            raise InstrumentError(self._refused())
        self._inbox.reset()
        session = _Session(self._broker, self._timeout_s, self._keepalive_s, self._take)
        try:
            session.connect()
            for topic in session.refused(self._topics):
                for name in self._topics[topic]:
                    self._inbox.fail(name, _("The broker denies access to {topic}.", topic=topic))
        except _CredentialsError:
            session.disconnect()
            self._retry_at_ms = self._clock.now_ms() + int(1000 * CREDENTIALS_RETRY_S * self._clock.rate)
            raise InstrumentError(self._refused()) from None
        except InstrumentError:
            session.disconnect()
            raise
        self._session = session

    def read(self, ids: Collection[str]) -> list[Reading | ReadFault]:
        """All readings since the last call."""
        if self._session is None:
            raise InstrumentError(_("The link to {where} is not open.", where=self._where))
        got = self._inbox.take(ids)
        if self._session.closed.is_set() and not any(isinstance(item, Reading) for item in got):
            raise InstrumentError(_("{where} closed the connection, or no longer answers.", where=self._where))
        return got

    def close(self) -> None:
        """Publish the offline status, if configured, and disconnect. Never raises."""
        if self._session is not None:
            self._session.disconnect()
            self._session = None

    def _refused(self) -> str:
        who = (
            _("the user {user} or the password", user=self._broker.user)
            if self._broker.user
            else _("us without user and password")
        )
        return _("The broker {where} refuses {who}. Drumside tries again once a minute.", where=self._where, who=who)

    def _take(self, message: MQTTMessage) -> None:
        """Handle a message, on paho's thread."""
        # Longer messages are truncated, and truncated JSON is rejected as invalid.
        text = message.payload[:MAX_MESSAGE_BYTES].decode(errors="replace")
        raw = printable(text)
        for name, read in self._topics.get(message.topic, {}).items():
            if message.retain:
                self._inbox.fail(
                    name, _("{topic} has only an old value retained by the broker.", topic=message.topic), raw
                )
                continue
            try:
                self._inbox.put(name, read(text), raw)
            except InstrumentError as error:
                self._inbox.reject(name, str(error), raw)


class _CredentialsError(Exception):
    """Raised when the broker refuses the user or the password."""


class _Context(ssl.SSLContext):
    """Keeps the wrapped socket, because paho does not close it after a failed handshake."""

    wrapped: ssl.SSLSocket | None = None

    def wrap_socket(self, *args: Any, **options: Any) -> ssl.SSLSocket:  # noqa: ANN401, those of the base class
        self.wrapped = super().wrap_socket(*args, **options)
        return self.wrapped


class _Session:
    """One connection to a broker, from CONNACK to disconnect."""

    def __init__(self, broker: Broker, timeout_s: float, keepalive_s: int, take: Callable[[MQTTMessage], None]) -> None:
        self._broker, self._timeout_s, self._keepalive_s = broker, timeout_s, keepalive_s
        self._where = f"{broker.host}:{broker.port}"
        self.closed = threading.Event()
        self._changed = threading.Condition()
        self._connack: ReasonCode | None = None
        self._subscribed: dict[int, ReasonCode] = {}
        client = Client(
            CallbackAPIVersion.VERSION2,
            client_id=f"drumside-{secrets.token_hex(6)}",
            protocol=_VERSIONS[broker.version],
            reconnect_on_failure=False,  # the recorder reconnects, with its own backoff
        )
        client.connect_timeout = timeout_s
        client.on_connect = self._on_connect
        client.on_subscribe = self._on_subscribe
        client.on_disconnect = self._on_disconnect
        client.on_message = lambda _client, _data, message: take(message)
        if broker.user is not None:
            client.username_pw_set(broker.user, broker.password)
        if broker.status is not None:
            client.will_set(broker.status, "offline", qos=1, retain=True)
        self._client = client

    def connect(self) -> None:
        """Connect, and wait for the broker's CONNACK."""
        context = self._tls_context() if self._broker.tls else None
        try:
            self._client.connect(self._broker.host, self._broker.port, keepalive=self._keepalive_s)
        except (OSError, UnicodeError) as error:
            if context is not None and context.wrapped is not None:
                context.wrapped.close()
            raise InstrumentError(self._connection_error(error)) from None
        self._client.loop_start()
        self._wait(lambda: self._connack is not None)
        if self._connack is None:
            raise InstrumentError(
                _("{where} closed the connection. Does it want TLS, or another version of MQTT?", where=self._where)
            )
        if self._connack.value in _CREDENTIALS:
            raise _CredentialsError
        if self._connack.is_failure:
            raise InstrumentError(
                _("The broker {where} refuses us: {why}.", where=self._where, why=self._connack.getName())
            )
        if self._broker.status is not None:
            self._client.publish(self._broker.status, "online", qos=1, retain=True)

    def refused(self, topics: Collection[str]) -> list[str]:
        """Subscribe to topics and return those that the broker refuses."""
        asked = {topic: self._client.subscribe(topic, qos=1)[1] for topic in topics}
        self._wait(lambda: self._subscribed.keys() >= set(asked.values()))
        if self.closed.is_set():
            raise InstrumentError(
                _(
                    "{where} closed the connection after the subscription to {topics}.",
                    where=self._where,
                    topics=", ".join(topics),
                )
            )
        refused = {number for number, code in self._subscribed.items() if code.is_failure}
        return [topic for topic, number in asked.items() if number in refused]

    def disconnect(self) -> None:
        """Disconnect. Never raises."""
        with contextlib.suppress(OSError, RuntimeError, ValueError):
            if self._broker.status is not None and self._client.is_connected():
                self._client.publish(self._broker.status, "offline", qos=1, retain=True).wait_for_publish(
                    self._timeout_s
                )
        if self._client.disconnect() == MQTTErrorCode.MQTT_ERR_SUCCESS:
            self.closed.wait(_DISCONNECT_WAIT_S)  # otherwise the broker would publish our will
        # paho's thread would wait for a silent broker; without its socket it ends at once.
        wire = self._client.socket()
        if isinstance(wire, socket.socket):
            with contextlib.suppress(OSError):
                wire.shutdown(socket.SHUT_RDWR)
        self._client.loop_stop()

    def _connection_error(self, error: OSError | UnicodeError) -> str:
        if isinstance(error, ssl.SSLCertVerificationError):
            return _(
                "The certificate of {where} is not trusted: {why}.",
                where=self._where,
                why=error.verify_message.rstrip("."),
            )
        if self._broker.tls and isinstance(error, ssl.SSLError | ConnectionResetError):
            return _("{where} does not answer in TLS. Is the port right?", where=self._where)
        return unreachable_reason(self._broker.host, self._broker.port, self._timeout_s, error)

    def _tls_context(self) -> _Context:
        context = _Context(ssl.PROTOCOL_TLS_CLIENT)
        try:
            if self._broker.ca_file is None:
                context.load_default_certs()
            else:
                context.load_verify_locations(self._broker.ca_file)
        except ssl.SSLError:
            raise InstrumentError(
                _("{ca_file} holds no certificates in PEM form.", ca_file=self._broker.ca_file)
            ) from None
        except OSError as error:
            raise InstrumentError(
                _("{ca_file} cannot be read: {error}.", ca_file=self._broker.ca_file, error=error.strerror)
            ) from None
        self._client.tls_set_context(context)
        return context

    def _wait(self, done: Callable[[], bool]) -> None:
        """Wait until the broker has answered or disconnected."""
        with self._changed:
            self._changed.wait_for(lambda: done() or self.closed.is_set(), self._timeout_s)
        if not done() and not self.closed.is_set():
            raise InstrumentError(
                _(
                    "{where} did not answer within {timeout:g} s. Is it an MQTT broker?",
                    where=self._where,
                    timeout=self._timeout_s,
                )
            )

    def _on_connect(self, _client: Client, _data: Any, _flags: Any, code: ReasonCode, _properties: Any) -> None:  # noqa: ANN401, paho's
        with self._changed:
            self._connack = code
            self._changed.notify_all()

    def _on_subscribe(self, _c: Client, _data: Any, number: int, codes: list[ReasonCode], _properties: Any) -> None:  # noqa: ANN401, paho's
        with self._changed:
            self._subscribed[number] = codes[0]
            self._changed.notify_all()

    def _on_disconnect(self, *_: Any) -> None:  # noqa: ANN401, paho's
        with self._changed:
            self.closed.set()
            self._changed.notify_all()


def _reader(point: MqttPoint) -> Callable[[str], float]:
    """Parser from a message to the channel's value."""
    if point.value is None:
        return lambda text: scaled(plain_number(text), point.scale, point.offset)
    steps = json_steps(point.value)
    return lambda text: scaled(json_number(text, steps), point.scale, point.offset)
