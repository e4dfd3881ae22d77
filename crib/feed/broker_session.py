"""A session at an MQTT broker: the same from start to start, with a queue of its own there."""

from __future__ import annotations

import asyncio
import ssl
import sys
from collections.abc import Sequence
from dataclasses import dataclass

from paho.mqtt import client as mqtt
from paho.mqtt.enums import CallbackAPIVersion
from paho.mqtt.packettypes import PacketTypes
from paho.mqtt.properties import Properties
from paho.mqtt.reasoncodes import ReasonCode

from crib.feed.broker_address import BrokerAddress
from crib.feed.broker_state import (
    FOLLOWING,
    BrokerState,
    broken_off,
    no_connection,
    not_readable,
    refused,
)

#: The broker keeps what we did not confirm for so long [s].
_SESSION_S = 7 * 24 * 3600


@dataclass(frozen=True, slots=True)
class Connected:
    """The broker let us in; whether it had kept what was sent meanwhile."""

    kept: bool


Arrived = mqtt.MQTTMessage | BrokerState | Connected


class Session:
    """Subscribes to some topics; what arrives goes into a queue.

    Args:
        address: Where the broker is.
        name: Tells this session from others at the broker.
        topics: Topic filters to subscribe to.
        others: Those that are not this session's.
        arrived: Takes what arrives, in its order, beside this session.
    """

    def __init__(
        self,
        address: BrokerAddress,
        name: str,
        topics: Sequence[str],
        others: Sequence[str],
        arrived: asyncio.Queue[tuple[Session, Arrived]],
    ) -> None:
        self._address, self.name, self.topics = address, name, tuple(topics)
        self._others = [topic for topic in others if topic not in self.topics]
        self._arrived, self._loop = arrived, asyncio.get_running_loop()
        #: Messages of this connection by their number there; a new connection starts over.
        self._unconfirmed: dict[int, mqtt.MQTTMessage] = {}
        #: Whether the broker had kept the session when it let us in last.
        self.kept = False
        self._let_in: bool | None = None
        self._state: BrokerState | None = None
        self._client = self._new_client(name)

    def begin(self) -> None:
        """Connect, and again whenever that breaks."""
        properties = Properties(PacketTypes.CONNECT)  # type: ignore[no-untyped-call]
        properties.SessionExpiryInterval = _SESSION_S
        self._client.connect_async(
            self._address.host,
            self._address.port,
            keepalive=30,
            clean_start=False,
            properties=properties,
        )
        self._client.loop_start()

    async def end(self) -> None:
        """Leave the broker; it keeps what comes."""
        self._client.disconnect()
        await asyncio.to_thread(self._client.loop_stop)

    def confirm(self, message: mqtt.MQTTMessage) -> None:
        """Say that a message need not be sent again."""
        # after a broken connection the number may be that of a message not yet booked
        if message.qos and self._unconfirmed.get(message.mid) is message:
            del self._unconfirmed[message.mid]
            self._client.ack(message.mid, message.qos)

    def _new_client(self, name: str) -> mqtt.Client:
        client = mqtt.Client(
            CallbackAPIVersion.VERSION2,
            client_id=name,
            protocol=mqtt.MQTTv5,
            manual_ack=True,
            reconnect_on_failure=True,
        )
        client.reconnect_delay_set(1, 60)
        if self._address.user is not None:
            client.username_pw_set(self._address.user, self._address.password)
        if self._address.tls:
            client.tls_set_context(ssl.create_default_context())
        client.on_connect = self._on_connect
        client.on_connect_fail = self._on_connect_fail
        client.on_disconnect = self._on_disconnect
        client.on_subscribe = self._on_subscribe
        client.on_message = self._on_message
        return client

    # in the client's own thread ------------------------------------------------------------

    def _on_connect(
        self,
        client: mqtt.Client,
        _data: object,
        flags: mqtt.ConnectFlags,
        reason: ReasonCode,
        _properties: object,
    ) -> None:
        self._let_in = not reason.is_failure
        if reason.is_failure:
            self._say(refused(self._address.where, str(reason)))
            return
        self._unconfirmed.clear()
        self.kept = bool(flags.session_present)
        if self._others:  # the session of an earlier version had them
            client.unsubscribe(self._others)
        client.subscribe([(topic, 1) for topic in self.topics])
        self._put(Connected(self.kept))

    def _on_subscribe(
        self,
        _client: mqtt.Client,
        _data: object,
        _mid: int,
        reasons: list[ReasonCode],
        _properties: object,
    ) -> None:
        told = zip(self.topics, reasons, strict=False)
        closed = [topic for topic, reason in told if reason.is_failure]
        self._say(not_readable(self._address.where, closed) if closed else FOLLOWING)

    def _on_connect_fail(self, _client: mqtt.Client, _data: object) -> None:
        # the client calls this while it handles what went wrong
        self._say(no_connection(self._address.where, sys.exc_info()[1]))

    def _on_disconnect(
        self,
        _client: mqtt.Client,
        _data: object,
        _flags: object,
        reason: ReasonCode,
        _properties: object,
    ) -> None:
        if reason.is_failure and self._let_in is not False:  # a refusal is told already
            before = self._let_in is None
            self._say(broken_off(self._address.where, str(reason), before_a_word=before))
        self._let_in = None

    def _on_message(
        self, _client: mqtt.Client, _data: object, message: mqtt.MQTTMessage
    ) -> None:
        if message.qos:
            self._unconfirmed[message.mid] = message
        self._put(message)

    def _say(self, state: BrokerState) -> None:
        if state != self._state:
            self._state = state
            self._put(state)

    def _put(self, item: Arrived) -> None:
        self._loop.call_soon_threadsafe(self._arrived.put_nowait, (self, item))
