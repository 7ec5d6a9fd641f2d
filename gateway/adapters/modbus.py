"""The one door to pymodbus: reads registers over Modbus TCP or a serial line (RTU), and cannot write any.

What goes out is looked at once more: any request but the two that read registers is refused before it is sent.
An answer counts only when it is of the device, the function and the length that were asked for. The serial port is
opened here with termios, since pymodbus would need one more package for it.
Sources: MODBUS Application Protocol Specification V1.1b3, 6.3, 6.4 (reads), 7 (exception codes); MODBUS over
Serial Line Specification and Implementation Guide V1.02, 2.5.1.1 (3.5 characters of silence, above 19,200 baud
1.75 ms).
"""

from __future__ import annotations

import contextlib
import fcntl
import logging
import os
import select
import struct
import termios
import time

from pymodbus.client import ModbusTcpClient
from pymodbus.client.base import ModbusBaseSyncClient
from pymodbus.exceptions import ConnectionException, ModbusException
from pymodbus.framer import FramerType
from pymodbus.pdu import ModbusPDU
from pymodbus.transport import CommParams, CommType

from gateway.wired import Place, Serial, Tcp

READS = {"holding": 3, "input": 4}
EXCEPTIONS = {
    1: "illegal function", 2: "illegal data address", 3: "illegal data value", 4: "device failure",
    5: "acknowledge, not done yet", 6: "device busy", 8: "memory parity error", 10: "gateway path unavailable",
    11: "gateway target device gave no answer",
}  # fmt: skip
OF_ONE_REGISTER = (2, 3, 4)  # such a refusal may come from one register of many
_BROKEN = (ModbusException, OSError, termios.error, ValueError, IndexError, KeyError, struct.error)
logging.getLogger("pymodbus.logging").setLevel(logging.CRITICAL)  # the command says it in its own words


class NoReading(Exception):
    """No registers came; the text says why. code: of the device's exception answer, 0 without one."""

    def __init__(self, why: str, code: int = 0) -> None:
        super().__init__(why)
        self.code = code


class Door:
    """One line: connects when asked to read, and anew after anything went wrong. It can only read."""

    def __init__(self, way: Tcp | Serial, timeout_s: float) -> None:
        self._way = way
        self._client: ModbusTcpClient | _SerialClient
        if isinstance(way, Tcp):
            self._client = ModbusTcpClient(
                way.host, port=way.port, timeout=timeout_s, retries=0, trace_pdu=only_reading
            )
        else:
            self._client = _SerialClient(way, timeout_s)

    def read(self, place: Place, count: int) -> tuple[int, ...]:
        """Return count registers (0..65535 each) from a place on. Raises: NoReading."""
        self._connect()
        reads = {"holding": self._client.read_holding_registers, "input": self._client.read_input_registers}
        try:
            answer = reads[place.table](place.address, count=count, device_id=place.device)
        except _BROKEN as error:
            self._after_silence()
            lost = isinstance(error, ConnectionException)
            raise NoReading("the connection was lost" if lost else "no answer") from None
        return self._registers(answer, READS[place.table], count)

    def close(self) -> None:
        """Leave the line."""
        with contextlib.suppress(OSError):
            self._client.close()

    def _connect(self) -> None:
        try:
            if self._client.connect():
                return
        except _BROKEN as error:
            why = getattr(error, "strerror", None) or str(error)
            raise NoReading(f"cannot open {_name(self._way)}: {why}") from None
        raise NoReading(f"no connection to {_name(self._way)}")

    def _registers(self, answer: ModbusPDU, function: int, count: int) -> tuple[int, ...]:
        if answer.isError():
            code = answer.exception_code
            raise NoReading(f"the device refuses: {EXCEPTIONS.get(code, 'exception')} (code {code})", code)
        if answer.function_code != function or len(answer.registers) != count:
            self._after_silence()
            raise NoReading("an answer that was not asked for")
        return tuple(answer.registers)

    def _after_silence(self) -> None:
        """An answer that comes late must never be taken for the answer to the next question."""
        if isinstance(self._client, _SerialClient):
            self._client.let_pass()
        else:
            self.close()


def _name(way: Tcp | Serial) -> str:
    return f"{way.host}:{way.port}" if isinstance(way, Tcp) else way.device


def only_reading(sending: bool, pdu: ModbusPDU) -> ModbusPDU:
    """Let a request pass that reads registers. Raises: PermissionError for any other."""
    if sending and pdu.function_code not in READS.values():
        raise PermissionError(f"function {pdu.function_code} is not a read; this door only reads")
    return pdu


class _SerialClient(ModbusBaseSyncClient):
    """pymodbus's framing on a serial port opened with termios: raw, 8 data bits, for this process alone."""

    def __init__(self, way: Serial, timeout_s: float) -> None:
        params = CommParams(comm_type=CommType.SERIAL, host=way.device, timeout_connect=timeout_s)
        super().__init__(FramerType.RTU, 0, params, None, only_reading, None)
        self._way, self._timeout_s = way, timeout_s
        self._fd, self._busy_s = -1, 0.0
        self._pause_s = silence_s(way.baud)

    def connect(self) -> bool:
        """Open the port unless it is open. Raises OSError or termios.error."""
        if self._fd >= 0:
            return True
        fd = os.open(self._way.device, os.O_RDWR | os.O_NOCTTY | os.O_NONBLOCK)
        try:
            fcntl.flock(fd, fcntl.LOCK_EX | fcntl.LOCK_NB)
            termios.tcsetattr(fd, termios.TCSANOW, _attributes(self._way))
            termios.tcflush(fd, termios.TCIOFLUSH)
        except BaseException:
            os.close(fd)
            raise
        self._fd = fd
        return True

    def close(self) -> None:
        """Close the port."""
        fd, self._fd = self._fd, -1
        if fd >= 0:
            os.close(fd)

    def send(self, request: bytes, addr: tuple[object, ...] | None = None) -> int:  # noqa: ARG002
        """Send a request after the silence that tells frames apart; what still lies there is thrown away."""
        time.sleep(max(0.0, self._busy_s + self._pause_s - time.monotonic()))
        try:
            termios.tcflush(self._fd, termios.TCIFLUSH)
            return os.write(self._fd, request)
        except (OSError, termios.error):
            self.close()
            raise ConnectionException(self._way.device) from None

    def recv(self, size: int | None) -> bytes:
        """Return what comes within the timeout, or nothing."""
        got = self._wait(self._timeout_s, size or 1024)
        self._busy_s = time.monotonic()
        return got

    def let_pass(self) -> None:
        """Throw away what comes within one more timeout: an answer that was too slow."""
        end = time.monotonic() + self._timeout_s
        with contextlib.suppress(ConnectionException):
            while self._fd >= 0 and (left := end - time.monotonic()) > 0:
                self._wait(left, 1024)
        self._busy_s = time.monotonic()

    def _wait(self, seconds: float, size: int) -> bytes:
        try:
            if not select.select([self._fd], [], [], seconds)[0]:
                return b""
            got = os.read(self._fd, size)
        except BlockingIOError:
            return b""
        except OSError:
            got = b""
        if not got:  # readable without a byte: the adapter was pulled out
            self.close()
            raise ConnectionException(self._way.device)
        return got


def silence_s(baud: int) -> float:
    """Return the silence between two frames [s]: 3.5 characters of 11 bits, above 19,200 baud 1.75 ms."""
    return 3.5 * 11 / baud if baud <= 19_200 else 0.001_75


def control_flags(parity: str, stop_bits: int) -> int:
    """Return termios' control flags: 8 data bits, receiver on, no modem lines."""
    flags = termios.CS8 | termios.CREAD | termios.CLOCAL
    flags |= {"none": 0, "even": termios.PARENB, "odd": termios.PARENB | termios.PARODD}[parity]
    return flags | (termios.CSTOPB if stop_bits == 2 else 0)


def _attributes(way: Serial) -> list[int | list[bytes | int]]:
    """Return the settings of a raw port; a byte with wrong parity comes as 0 and fails the frame's check sum."""
    speed: int = getattr(termios, f"B{way.baud}")
    checks = 0 if way.parity == "none" else termios.INPCK
    characters: list[bytes | int] = [b"\0"] * 32
    characters[termios.VMIN], characters[termios.VTIME] = 1, 0  # no byte then means: no port any more
    return [checks, 0, control_flags(way.parity, way.stop_bits), 0, speed, speed, characters]
