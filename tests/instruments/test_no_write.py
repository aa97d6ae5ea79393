"""No driver can write to a machine, and none uses a sending function of its library."""

import ast
from pathlib import Path

import pytest

import roastlog.instruments
from roastlog.instruments.modbus import ModbusInstrument
from roastlog.instruments.mqtt import MqttInstrument
from roastlog.instruments.serial_line import SerialInstrument
from roastlog.instruments.simulated import SimulatedInstrument

SOURCES = sorted(Path(roastlog.instruments.__path__[0]).glob("*.py"))
SENDS = ("write", "readwrite", "mask_write", "send", "publish", "will_set", "execute", "transceive", "diag_")
"""How names begin with which pymodbus, pyserial, paho and sockets send something."""


def sending(tree: ast.AST) -> list[str]:
    """Names of sending functions that a module uses, with their first argument."""
    calls = {id(node.func): node for node in ast.walk(tree) if isinstance(node, ast.Call)}
    found = []
    for node in ast.walk(tree):
        if isinstance(node, ast.Attribute) and node.attr.startswith(SENDS):
            call = calls.get(id(node))
            first = ast.unparse(call.args[0]) if call and call.args else ""
            found.append(f"{node.attr}({first})")
    return sorted(found)


@pytest.mark.parametrize("source", SOURCES, ids=lambda source: source.stem)
def test_no_driver_uses_a_sending_function(source):
    """Only MQTT's driver sends, and only its online status under the configured topic."""
    status = "self._broker.status"
    allowed = [f"publish({status})", f"publish({status})", "will_set(broker.status)"] if source.stem == "mqtt" else []
    assert sending(ast.parse(source.read_text(encoding="utf-8"))) == allowed


def test_a_sending_call_would_be_found():
    """The test above detects a call, and a function that is only passed on."""
    code = "client.write_register(10, 0)\nmap(port.write, data)\nbroker.publish('gas', 5)"
    assert sending(ast.parse(code)) == ["publish('gas')", "write()", "write_register(10)"]


@pytest.mark.parametrize("driver", [ModbusInstrument, MqttInstrument, SerialInstrument])
def test_a_driver_offers_open_read_and_close(driver):
    """A driver has no public method besides open, read and close."""
    offered = {name for name, what in vars(driver).items() if callable(what) and not name.startswith("_")}
    assert offered == {"open", "read", "close"}


def test_the_simulated_roaster_follows_entries_only():
    """It alone receives entries, since there is no real machine; its controls are its own."""
    offered = {name for name, what in vars(SimulatedInstrument).items() if callable(what) and name[0] != "_"}
    assert offered == {"open", "read", "close", "follow"}
