"""A Modbus server of pymodbus, TCP or RTU, in its own process, for tests that need a real instrument on the wire.

Run as a program it is the server; imported, `ModbusServer` starts, stalls, resumes, kills and questions it.
"""

import asyncio
import json
import logging
import os
import signal
import subprocess
import sys
import threading
import time
from collections import Counter
from collections.abc import Callable
from pathlib import Path
from typing import Any, Self

from pymodbus.pdu import ModbusPDU
from pymodbus.server import ModbusSerialServer, ModbusTcpServer
from pymodbus.simulator import DataType, SimData, SimDevice

from tests.ports import held_port

ROOT = Path(__file__).parents[2]

INPUT = {0: ("INT16", [1963, -55, 2215]), 20: ("UINT16", [40000]), 30: ("INT32", [-123456])}
INPUT |= {40: ("UINT32", [3_000_000_000]), 50: ("FLOAT32", [187.25]), 60: ("FLOAT32", [float("nan")])}
INPUT |= {70: ("REGISTERS", [0x4000, 0x433B])}  # 187.25 with the low word first
HOLDING = {10: ("UINT16", [40, 55, 0, 70])}
BITS = {3: True, 4: False}  # of coils and of discrete inputs
UNIT_2 = {0: ("INT16", [333])}  # its input registers; its holding registers are the same


class ModbusServer:
    """The server for a test, on a port of loopback or on a serial device. Use it in a ``with``."""

    def __init__(self, port: int | None = None, *, device: str = "") -> None:
        self.port = port or held_port()
        self._where = device or str(self.port)
        self._set: dict[int, int] = {}  # values that were set survive a restart
        self._process: subprocess.Popen[str] | None = None

    def __enter__(self) -> Self:
        self.start()
        return self

    def __exit__(self, *_: object) -> None:
        self.kill()

    def start(self) -> None:
        """Start it, and wait until it answers."""
        command = [
            sys.executable,
            "-m",
            "tests.instruments.modbus_server",
            self._where,
            json.dumps(list(self._set.items())),
        ]
        self._process = subprocess.Popen(  # ended in kill()
            command, cwd=ROOT, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True
        )
        assert self._answer() == "ready"

    def kill(self) -> None:
        """End it like a power cut."""
        if self._process is not None:
            self._process.kill()
            self._process.communicate()
            self._process = None

    def stall(self) -> None:
        """Make it hold its connections and answer nothing."""
        os.kill(self._running().pid, signal.SIGSTOP)
        time.sleep(0.05)

    def resume(self) -> None:
        """Resume after `stall`."""
        os.kill(self._running().pid, signal.SIGCONT)

    def asked(self) -> dict[str, int]:
        """Requests since the last call, as {"function code:address:count": times}."""
        print("asked", file=self._running().stdin, flush=True)
        answer: dict[str, int] = json.loads(self._answer())
        return answer

    def set_input(self, address: int, registers: list[int]) -> None:
        """Change input registers of unit 1."""
        self._set.update(enumerate(registers, start=address))
        print(json.dumps([address, registers]), file=self._running().stdin, flush=True)
        assert self._answer() == "set"

    def _running(self) -> "subprocess.Popen[str]":
        assert self._process is not None
        return self._process

    def _answer(self) -> str:
        stdout = self._running().stdout
        assert stdout is not None
        return stdout.readline().strip()


def listening(
    where: str, units: list[SimDevice], trace: Callable[[bool, ModbusPDU], ModbusPDU]
) -> ModbusTcpServer | ModbusSerialServer:
    """A server on a port of loopback, or on a serial device."""
    if where.isdecimal():
        return ModbusTcpServer(units, address=("127.0.0.1", int(where)), trace_pdu=trace)
    return ModbusSerialServer(units, port=where, baudrate=9600, trace_pdu=trace)


async def serve(where: str, changes: dict[int, int]) -> None:
    """Serve until killed."""
    asked: Counter[str] = Counter()

    def block(values: dict[int, tuple[str, list[Any]]]) -> list[SimData]:
        return [SimData(address, values=v, datatype=DataType[kind]) for address, (kind, v) in values.items()]

    async def refresh(code: int, start: int, _at: int, _n: int, registers: list[int], _new: object) -> None:
        if code == 4:
            for address, register in changes.items():
                registers[address - start] = register

    def count(sending: bool, pdu: ModbusPDU) -> ModbusPDU:
        if not sending:
            asked[f"{pdu.function_code}:{pdu.address}:{pdu.count}"] += 1
        return pdu

    def listen() -> None:
        for line in sys.stdin:
            if line.strip() == "asked":
                answer = json.dumps(asked)
                asked.clear()  # before the test sees it and asks again
                print(answer, flush=True)
            else:
                address, registers = json.loads(line)
                changes.update(enumerate(registers, start=address))
                print("set", flush=True)
        os._exit(0)  # the test has ended

    bits = [SimData(0, values=[BITS.get(n, False) for n in range(16)], datatype=DataType.BITS)]
    units = [
        SimDevice(id=1, simdata=(bits, bits, block(HOLDING), block(INPUT)), action=refresh),
        SimDevice(id=2, simdata=block(UNIT_2)),
    ]
    server = listening(where, units, count)
    await server.serve_forever(background=True)
    threading.Thread(target=listen, daemon=True).start()
    print("ready", flush=True)
    await asyncio.Event().wait()


if __name__ == "__main__":
    logging.getLogger("pymodbus").setLevel(logging.CRITICAL + 1)
    asyncio.run(serve(sys.argv[1], dict(json.loads(sys.argv[2]))))
