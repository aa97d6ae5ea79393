"""MQTT against a real Mosquitto in its own process, with TLS and passwords."""

import socket
import threading
import time

import pytest

from roastlog.clock import Clock
from roastlog.errors import InstrumentError
from roastlog.instruments.base import ReadFault, Reading
from roastlog.instruments.inbox import MOST_LATE_MS
from roastlog.instruments.mqtt import MAX_MESSAGE_BYTES, MqttInstrument
from roastlog.machine.sources import MqttPoint
from tests.instruments.broker import MISSING, PASSWORD, USER, Broker, Voice
from tests.instruments.test_serial_line import values, wait_for
from tests.ports import held_port
from tests.recording.test_hub import until

pytestmark = pytest.mark.skipif(MISSING is not None, reason=str(MISSING))


@pytest.fixture(scope="module")
def broker(tmp_path_factory):
    """One broker for the tests that do not change it."""
    with Broker(tmp_path_factory.mktemp("broker")) as broker:
        yield broker


@pytest.fixture
def own_broker(tmp_path):
    """A broker that a test may stall and kill."""
    with Broker(tmp_path) as broker:
        yield broker


@pytest.fixture
def voice(broker):
    """A client that publishes at the shared broker."""
    with Voice(broker) as voice:
        yield voice


@pytest.fixture
def linked(request):
    """Creates open instruments, and closes them afterwards."""
    made: list[MqttInstrument] = []

    def make(broker: Broker, keepalive_s: int = 4, **points: dict[str, object]) -> MqttInstrument:
        shared = {"host": "127.0.0.1", "port": broker.port, "user": USER, "password": PASSWORD}
        models = {name: MqttPoint.model_validate({**shared, **point}) for name, point in points.items()}
        made.append(MqttInstrument(models, Clock(), keepalive_s=keepalive_s))
        made[-1].open()
        return made[-1]

    yield make
    for instrument in made:
        instrument.close()


@pytest.mark.parametrize("version", ["3.1.1", "5"])
def test_numbers_and_json_come_over_tls(broker, voice, linked, version):
    """Plain numbers, and two channels from one JSON message, scaled, in both versions, with our own authority."""
    tls = {"port": broker.tls_port, "tls": True, "ca_file": str(broker.ca_file), "version": version}
    instrument = linked(
        broker,
        probe={**tls, "topic": "drum-4/probe"},
        exhaust={**tls, "topic": "drum-4/air", "value": "$.air[0].c"},
        inlet={**tls, "topic": "drum-4/air", "value": "$.air[1].f", "scale": 5 / 9, "offset": -160 / 9},
    )
    assert instrument.read(["probe", "exhaust", "inlet"]) == []
    voice.say("drum-4/probe", "196.3")
    voice.say("drum-4/air", '{"air": [{"c": 188.5}, {"f": 410}]}')
    voice.say("drum-4/else", "1")
    answers = wait_for(instrument, "probe", "exhaust", "inlet", count=3)
    assert sorted(values(answers)) == [("exhaust", 188.5), ("inlet", 210.0), ("probe", 196.3)]
    raw = {answer.channel: answer.raw for answer in answers}
    assert raw == {"probe": "196.3", "exhaust": raw["inlet"], "inlet": '{"air": [{"c": 188.5}, {"f": 410}]}'}


def test_no_message_is_lost_between_polls(broker, voice, linked):
    """All messages of a burst are readings, in order, each at a millisecond of its own."""
    instrument = linked(broker, probe={"topic": "drum-4/probe"})
    for number in range(MOST_LATE_MS):  # more could not be told apart and be on time
        voice.say("drum-4/probe", f"{number / 10}")
    answers = wait_for(instrument, "probe", count=MOST_LATE_MS)
    assert [answer.value for answer in answers] == [number / 10 for number in range(MOST_LATE_MS)]
    assert len({answer.at_ms for answer in answers}) == MOST_LATE_MS


def test_an_old_value_kept_by_the_broker_is_no_reading(broker, voice, linked):
    """A retained message at subscription is a fault until a fresh one comes; and again after a restart."""
    voice.say("drum-4/kept", "21.5", retain=True)
    instrument = linked(broker, probe={"topic": "drum-4/kept"})
    old = ReadFault(0, "probe", "drum-4/kept has only an old value retained by the broker.", "21.5")
    [fault] = wait_for(instrument, "probe", count=1)
    assert fault._replace(at_ms=0) == old
    voice.say("drum-4/kept", "196.3", retain=True)  # its sender marks all messages as retained; this one is fresh
    until(lambda: any(isinstance(item, Reading) and item.value == 196.3 for item in instrument.read(["probe"])))
    assert instrument.read(["probe"]) == []
    instrument.open()
    [fault] = wait_for(instrument, "probe", count=1)
    assert fault.raw == "196.3"
    assert isinstance(fault, ReadFault)
    voice.say("drum-4/kept", b"", retain=True)


@pytest.mark.parametrize(
    "payload", ["", "on", "NaN", "196,3", b"\xff\x00\x01", "1e999", '{"celsius": 196.3}', "1" + "0" * MAX_MESSAGE_BYTES]
)
def test_invalid_numbers_are_reported_and_counted(broker, voice, linked, payload):
    """Words, bytes and endless messages are faults of their channel; a number ends the fault."""
    instrument = linked(broker, probe={"topic": "drum-4/probe"})
    voice.say("drum-4/probe", payload)
    [fault] = wait_for(instrument, "probe", count=1)
    assert isinstance(fault, ReadFault)
    assert "is not a number" in fault.reason
    assert instrument.rejected == 1
    voice.say("drum-4/probe", "196.3")
    until(lambda: any(isinstance(item, Reading) for item in instrument.read(["probe"])))


def test_nothing_is_published_unless_the_sheet_names_a_topic_for_it(broker, voice, linked):
    """In a whole session with every kind of message, only the sender publishes."""
    instrument = linked(broker, probe={"topic": "drum-4/probe"})
    voice.say("drum-4/probe", "196.3")
    wait_for(instrument, "probe", count=1)
    instrument.close()
    voice.say("drum-4/end", "x")
    until(lambda: ("drum-4/end", "x", False) in voice.heard)
    assert {topic for topic, _, _ in voice.heard} == {"drum-4/probe", "drum-4/end"}


def test_status_is_published_on_connect_disconnect_and_last_will(broker, voice, linked):
    """Online, offline at a normal disconnect, and offline by the last will after a crash; all retained."""
    status = "drumside/drum-4/status"
    instrument = linked(broker, probe={"topic": "drum-4/probe", "status": status})
    said = lambda: [text for topic, text, _ in voice.heard if topic == status]  # noqa: E731
    until(lambda: said() == ["online"])
    instrument.close()
    until(lambda: said() == ["online", "offline"])
    instrument.open()
    until(lambda: said() == ["online", "offline", "online"])
    wire = instrument._session._client.socket()
    wire.shutdown(socket.SHUT_RDWR)  # without a disconnect, as at a power cut
    until(lambda: said() == ["online", "offline", "online", "offline"])
    voice.say(status, b"", retain=True)


def test_a_wrong_password_is_not_tried_again_at_once(broker, linked):
    """A wrong password is reported, not retried for a minute, and never appears in a reason."""
    with pytest.raises(InstrumentError, match="refuses the user drumside or the password") as caught:
        linked(broker, probe={"topic": "x", "password": "wrong 7"})
    assert "wrong 7" not in str(caught.value)
    shared = {"host": "127.0.0.1", "port": broker.port, "topic": "x"}
    instrument = MqttInstrument({"probe": MqttPoint.model_validate(shared)}, Clock())
    for _ in range(2):
        with pytest.raises(InstrumentError, match="refuses us without user and password"):
            instrument.open()
    assert instrument._retry_at_ms > Clock().now_ms() + 55_000
    instrument._broker = instrument._broker._replace(port=held_port())  # no broker is running
    with pytest.raises(InstrumentError, match="refuses us without user and password"):
        instrument.open()


@pytest.mark.parametrize(
    ("wrong", "says"),
    [
        ({"tls": True}, "is not trusted"),
        ({"tls": True, "ca_file": "/nowhere/ca.pem"}, "ca.pem cannot be read: No such file"),
        ({"tls": True, "ca_file": __file__}, "holds no certificates"),
        ({"tls": False}, "closed the connection"),
        ({"tls": True, "port": "plain"}, "does not answer in TLS"),
        ({"port": "nobody"}, "refused the connection"),
        ({"host": "no..such"}, "not found"),
    ],
)
def test_a_connection_that_fails_says_why(broker, linked, wrong, says):
    """Wrong certificates, ports and names are each reported with their reason."""
    ports = {"plain": broker.port, "nobody": held_port()}
    wrong = {"port": broker.tls_port, **wrong}
    wrong["port"] = ports.get(wrong["port"], wrong["port"])
    with pytest.raises(InstrumentError, match=says):
        linked(broker, probe={"topic": "x", **wrong})


def test_a_port_that_says_nothing_is_reported(linked, broker):
    """A port that listens without answering is reported after a second."""
    says = r"did not answer within 1 s\. Is it an MQTT broker"
    with socket.create_server(("127.0.0.1", 0)) as mute, pytest.raises(InstrumentError, match=says):
        linked(broker, probe={"topic": "x", "port": mute.getsockname()[1]})


def test_a_broker_that_goes_and_comes_back(own_broker, linked):
    """Readings before the loss are kept; then the loss is reported; then the broker is read again."""
    instrument = linked(own_broker, probe={"topic": "drum-4/probe"})
    with Voice(own_broker) as voice:
        voice.say("drum-4/probe", "196.3")
        until(lambda: instrument._inbox._waiting["probe"])
        own_broker.kill()
    until(instrument._session.closed.is_set)
    assert values(instrument.read(["probe"])) == [("probe", 196.3)]
    with pytest.raises(InstrumentError, match="closed the connection"):
        instrument.read(["probe"])
    with pytest.raises(InstrumentError, match="refused the connection"):
        instrument.open()
    own_broker.start()
    instrument.open()
    with Voice(own_broker) as voice:
        voice.say("drum-4/probe", "196.5")
        assert values(wait_for(instrument, "probe", count=1)) == [("probe", 196.5)]


def test_a_stalled_broker_is_a_lost_link_and_closing_does_not_wait_for_it(own_broker, linked):
    """A broker that holds its connections and sends nothing is detected, and closed without waiting."""
    # Twice the timeout of an answer: otherwise the keep-alive ends the second attempt as early as that timeout.
    instrument = linked(own_broker, 2, probe={"topic": "drum-4/probe", "status": "drumside/status"})
    own_broker.stall()
    until(instrument._session.closed.is_set)
    with pytest.raises(InstrumentError, match="no longer answers"):
        instrument.read(["probe"])
    with pytest.raises(InstrumentError, match="did not answer within 1 s"):
        instrument.open()
    instrument.close()
    assert not [thread for thread in threading.enumerate() if thread.name.startswith("paho")]
    own_broker.resume()
    time.sleep(0.05)
    instrument.open()
    assert instrument.read(["probe"]) == []


def test_close_never_raises_and_one_link_has_one_broker():
    """Closing an unopened instrument does nothing; points of two brokers cannot share one link."""
    one, other = (MqttPoint(host=host, topic="x") for host in ("127.0.0.1", "127.0.0.2"))
    instrument = MqttInstrument({"a": one}, Clock())
    instrument.close()
    with pytest.raises(InstrumentError, match="not open"):
        instrument.read(["a"])
    with pytest.raises(ValueError, match="one broker"):
        MqttInstrument({"a": one, "b": other}, Clock())


def test_a_topic_that_we_may_not_read_is_a_fault_of_its_channel(linked, broker):
    """A refused subscription (0x80 of MQTT 3.1.1, section 3.9.3; from memory) is a fault of its channel."""

    def serve() -> None:
        connection, _ = listener.accept()
        with connection:
            connection.recv(500)
            connection.sendall(bytes.fromhex("20 02 00 00"))
            asked = connection.recv(500)  # SUBSCRIBE: its number is in the third and fourth byte
            connection.sendall(bytes.fromhex("90 03") + asked[2:4] + b"\x80")
            connection.recv(500)

    with socket.create_server(("127.0.0.1", 0)) as listener:
        thread = threading.Thread(target=serve)
        thread.start()
        instrument = linked(broker, probe={"topic": "secret", "port": listener.getsockname()[1]})
        assert values(instrument.read(["probe"])) == [("probe", "The broker denies access to secret.")]
        instrument.close()
        thread.join()
