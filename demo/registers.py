"""The registers of the simulated roaster, served over Modbus TCP as by a real machine.

Input registers 0, 1, 2: bean probe, bean surface, exhaust, int16, tenths of a degree. Holding registers 10 to 13: hot
air, radiant, drum heat, stir, uint16, tenths of a step; writing one turns the knob.
"""

import asyncio
import threading
from typing import cast

from pymodbus.constants import ExcCodes
from pymodbus.server import ModbusTcpServer
from pymodbus.simulator import DataType, SimData, SimDevice

from roastlog.physics.design import CONTROLS, TOP_LEVEL
from roastlog.physics.sensors import CHANNELS

from .drum import Drum

FIRST_CONTROL = 10
HOST = "127.0.0.1"


class RegisterServer:
    """A Modbus TCP server on loopback, in its own thread.

    Parameters
    ----------
    drum
        The machine behind the registers.
    port
        Port to listen on; 0 lets the system choose, and `port` is its choice once it listens.
    """

    def __init__(self, drum: Drum, port: int) -> None:
        self._drum, self.port = drum, port
        self._loop = asyncio.new_event_loop()
        self._server: ModbusTcpServer | None = None
        self._thread = threading.Thread(target=self._run, name="modbus", daemon=True)
        self._ready = threading.Event()
        self._failed: Exception | None = None

    def start(self) -> None:
        """Listen; raises OSError if the port is in use."""
        self._thread.start()
        self._ready.wait(10)
        if self._failed is not None:
            raise OSError(f"{HOST}:{self.port} cannot be listened on: {self._failed}")

    def stop(self) -> None:
        """Close the port."""
        if self._thread.is_alive() and self._server is not None:
            asyncio.run_coroutine_threadsafe(self._shut(self._server), self._loop).result(5)
            self._loop.call_soon_threadsafe(self._loop.stop)
            self._thread.join(5)

    def _run(self) -> None:
        asyncio.set_event_loop(self._loop)
        try:
            self._loop.run_until_complete(self._listen())
        except Exception as error:  # noqa: BLE001, handed to the starting thread
            self._failed = error
        else:
            self._ready.set()
            self._loop.run_forever()
        finally:
            self._ready.set()
            self._loop.close()

    async def _listen(self) -> None:
        device = SimDevice(
            id=1,
            simdata=[
                SimData(0, values=[0] * len(CHANNELS), datatype=DataType.INT16),
                SimData(FIRST_CONTROL, values=[0] * len(CONTROLS), datatype=DataType.UINT16),
            ],
            action=self._answer,
        )
        self._server = ModbusTcpServer(device, address=(HOST, self.port))
        await self._server.serve_forever(background=True)
        listening = cast("asyncio.Server", self._server.transport)  # pymodbus declares less than it is
        self.port = listening.sockets[0].getsockname()[1]

    @staticmethod
    async def _shut(server: ModbusTcpServer) -> None:
        await server.shutdown()  # type: ignore[no-untyped-call]  # pymodbus leaves it untyped

    async def _answer(
        self,
        _function: int,
        start: int,
        address: int,
        _count: int,
        registers: list[int],
        written: list[int] | list[bool] | None,
    ) -> ExcCodes | None:
        """Turn the knobs that are written, then fill in what the roaster has now."""
        for index, raw in enumerate(written or []):
            if not 0 <= address + index - FIRST_CONTROL < len(CONTROLS):
                return ExcCodes.ILLEGAL_ADDRESS
            if not 0 <= raw <= 10 * TOP_LEVEL:
                return ExcCodes.ILLEGAL_VALUE
        for index, raw in enumerate(written or []):
            self._drum.turn(CONTROLS[address + index - FIRST_CONTROL], raw / 10.0)
        self._fill(start, registers)
        return None

    def _fill(self, start: int, registers: list[int]) -> None:
        for first, values in ((0, self._drum.readings()), (FIRST_CONTROL, self._drum.levels())):
            for index, value in enumerate(values.values()):
                place = first + index - start
                if 0 <= place < len(registers):
                    registers[place] = round(value * 10) & 0xFFFF
