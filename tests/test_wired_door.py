"""The door to the transmitters: a real Modbus TCP server, and a real serial line (a pseudo-terminal pair)."""

from __future__ import annotations

import asyncio
import os
import re
import select
import socket
import termios
import threading
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from pymodbus.constants import ExcCodes
from pymodbus.server import ModbusTcpServer
from pymodbus.simulator import DataType, SimData, SimDevice

from gateway.adapters.modbus import Door, NoReading, control_flags, silence_s
from gateway.wired import Place, Serial, Tcp
from tests.broker import free_port

SOURCE = Path(__file__).parent.parent / "gateway"
SIZE = 300  # registers of every simulated device; the next address is refused


class Devices:
    """A Modbus TCP server with devices 3 and 4; every other device is silent."""

    def __init__(self, port: int = 0) -> None:
        self.port = port or free_port()
        self.registers: dict[int, dict[int, int]] = {3: {}, 4: {}}
        self.refusing: set[int] = set()
        self.reads: list[tuple[int, int, int, int]] = []  # device, function, address, count
        self.delay_s = 0.0
        self._loop = asyncio.new_event_loop()
        self._thread = threading.Thread(target=self._run, daemon=True)
        self._thread.start()
        while socket.socket().connect_ex(("127.0.0.1", self.port)):
            time.sleep(0.02)

    def _run(self) -> None:
        asyncio.set_event_loop(self._loop)
        self._loop.run_until_complete(self._serve())

    async def _serve(self) -> None:
        block = SimData(0, count=SIZE, values=0, datatype=DataType.REGISTERS)
        devices = [SimDevice(each, [block], action=self._action(each)) for each in self.registers]
        self.server = ModbusTcpServer(devices, address=("127.0.0.1", self.port), trace_packet=self._silence)
        await self.server.serve_forever()

    def _silence(self, sending: bool, frame: bytes) -> bytes:
        return b"" if sending and frame[6] not in self.registers else frame

    def _action(self, device: int) -> Callable[..., object]:
        async def act(function, start, address, count, current, new):  # type: ignore[no-untyped-def]
            self.reads.append((device, function, address, count))
            await asyncio.sleep(self.delay_s)
            if self.refusing & set(range(address, address + count)):
                return ExcCodes.ILLEGAL_ADDRESS
            for at, value in self.registers[device].items():
                current[at - start] = value
            return None

        return act

    def stop(self) -> None:
        asyncio.run_coroutine_threadsafe(self.server.shutdown(), self._loop).result(5)
        self._thread.join(5)


@pytest.fixture
def devices() -> Iterator[Devices]:
    made = Devices()
    yield made
    made.stop()


@pytest.fixture
def door(devices: Devices) -> Iterator[Door]:
    made = Door(Tcp("127.0.0.1", devices.port), 0.3)
    yield made
    made.close()


def why(door: Door, place: Place, count: int = 1) -> str:
    with pytest.raises(NoReading) as caught:
        door.read(place, count)
    return str(caught.value)


def test_both_tables_are_read_over_tcp(devices: Devices, door: Door) -> None:
    """Function 3 reads holding registers, 4 input registers (V1.1b3, 6.3, 6.4)."""
    devices.registers[3] = {10: 0x41AC, 11: 0xFFD8}
    devices.registers[4] = {10: 7}
    assert door.read(Place(3, "holding", 10), 2) == (0x41AC, 0xFFD8)
    assert door.read(Place(4, "input", 10), 1) == (7,)
    assert devices.reads == [(3, 3, 10, 2), (4, 4, 10, 1)]


def test_the_most_registers_come_in_one_answer(devices: Devices, door: Door) -> None:
    devices.registers[3] = {each: each + 1 for each in range(125)}
    assert door.read(Place(3, "holding", 0), 125) == tuple(range(1, 126))


def test_an_exception_answer_is_told_with_its_code(door: Door) -> None:
    with pytest.raises(NoReading) as caught:
        door.read(Place(3, "holding", SIZE), 1)
    assert (str(caught.value), caught.value.code) == ("the device refuses: illegal data address (code 2)", 2)


def test_a_silent_device_costs_one_timeout_and_the_line_goes_on(devices: Devices, door: Door) -> None:
    devices.registers[3] = {0: 5}
    began = time.monotonic()
    assert why(door, Place(9, "holding", 0)) == "no answer"
    assert 0.25 < time.monotonic() - began < 0.6
    assert door.read(Place(3, "holding", 0), 1) == (5,)


def test_an_answer_that_comes_late_is_never_taken_for_the_next(devices: Devices, door: Door) -> None:
    devices.registers[3] = {0: 111, 1: 222}
    devices.delay_s = 0.4
    assert why(door, Place(3, "holding", 0)) == "no answer"
    devices.delay_s = 0.0
    assert door.read(Place(3, "holding", 1), 1) == (222,)


def test_no_server_is_told_and_found_again(devices: Devices) -> None:
    devices.stop()
    door = Door(Tcp("127.0.0.1", devices.port), 0.3)
    assert why(door, Place(3, "holding", 0)) == f"no connection to 127.0.0.1:{devices.port}"
    again = Devices(devices.port)
    assert door.read(Place(3, "holding", 0), 1) == (0,)
    again.stop()
    assert why(door, Place(3, "holding", 0)) in (
        "the connection was lost",
        f"no connection to 127.0.0.1:{devices.port}",
    )
    devices.__init__()  # type: ignore[misc]  # for the fixture to stop


# -- answers that no honest server gives -----------------------------------------------------------------------


def answering(reply: Callable[[bytes], bytes]) -> Tcp:
    """A server for one connection that answers each request with these bytes."""
    listener = socket.create_server(("127.0.0.1", 0))

    def serve() -> None:
        connection, _ = listener.accept()
        with connection, listener:
            while request := connection.recv(300):
                connection.sendall(reply(request))

    threading.Thread(target=serve, daemon=True).start()
    return Tcp("127.0.0.1", listener.getsockname()[1])


@pytest.mark.parametrize(
    ("reply", "expected"),
    [
        (lambda asked: asked[:5] + b"\x05\x03\x03\x02\x00\x07", None),
        (lambda asked: asked[:5] + b"\x07\x03\x03\x04\x00\x07\x00\x08", "an answer that was not asked for"),
        (lambda asked: asked[:5] + b"\x05\x03\x04\x02\x00\x07", "an answer that was not asked for"),
        (lambda asked: asked[:5] + b"\x05\x04\x03\x02\x00\x07", "no answer"),
        (lambda asked: b"\xff\xff" + asked[2:5] + b"\x05\x03\x03\x02\x00\x07", "no answer"),
        (lambda asked: asked[:5] + b"\x05\x03\x03\x20\x00\x07", "no answer"),
        (lambda asked: b"GET / HTTP/1.1\r\n\r\n", "no answer"),
        (lambda asked: asked[:5] + b"\x02\x03\x03", "no answer"),
    ],
    ids=["honest", "too long", "other function", "other device", "other transaction", "count", "noise", "cut"],
)  # fmt: skip
def test_only_the_answer_that_was_asked_for_counts(reply: Callable[[bytes], bytes], expected: str | None) -> None:
    """The first row is the honest answer that the others spoil in one place each."""
    door = Door(answering(reply), 0.3)
    if expected is None:
        assert door.read(Place(3, "holding", 0), 1) == (7,)
    else:
        assert why(door, Place(3, "holding", 0)) == expected
    door.close()


# -- a serial line ---------------------------------------------------------------------------------------------


def crc(frame: bytes) -> bytes:
    """The check sum of a frame, bit by bit (Serial Line V1.02, 6.2.2), low byte first."""
    found = 0xFFFF
    for byte in frame:
        found ^= byte
        for _ in range(8):
            found = (found >> 1) ^ 0xA001 if found & 1 else found >> 1
    return found.to_bytes(2, "little")


class SerialLine:
    """Device 3 behind a pseudo-terminal: answers functions 3 and 4; address 99 is refused; others are silent."""

    def __init__(self) -> None:
        self._master, slave = os.openpty()
        self.path, self._slave = os.ttyname(slave), slave
        self.registers = dict.fromkeys(range(50), 0)
        self.asked: list[bytes] = []
        self.delay_s, self.spoil = 0.0, lambda answer: answer
        self._stopping = False
        self._thread = threading.Thread(target=self._serve, daemon=True)
        self._thread.start()

    def way(self, parity: str = "even", stop_bits: int = 1) -> Serial:
        return Serial(self.path, 19200, parity, stop_bits)

    def settings(self) -> list[object]:
        return termios.tcgetattr(self._slave)

    def _serve(self) -> None:
        while not self._stopping:
            if select.select([self._master], [], [], 0.05)[0]:
                asked = os.read(self._master, 300)
                self.asked.append(asked)
                if answer := self._answer(asked):
                    time.sleep(self.delay_s)
                    os.write(self._master, self.spoil(answer))

    def _answer(self, asked: bytes) -> bytes:
        assert len(asked) == 8 and crc(asked[:6]) == asked[6:]
        device, function = asked[0], asked[1]
        address, count = int.from_bytes(asked[2:4], "big"), int.from_bytes(asked[4:6], "big")
        if device != 3:
            return b""
        body = bytes((device, function | 0x80, 2))
        if address != 99:
            words = b"".join(self.registers[address + each].to_bytes(2, "big") for each in range(count))
            body = bytes((device, function, len(words))) + words
        return body + crc(body)

    def stop(self) -> None:
        self._stopping = True
        self._thread.join(2)
        os.close(self._master)
        os.close(self._slave)


@pytest.fixture
def line() -> Iterator[SerialLine]:
    made = SerialLine()
    yield made
    made.stop()


@pytest.fixture
def serial_door(line: SerialLine) -> Iterator[Door]:
    made = Door(line.way(), 0.2)
    yield made
    made.close()


def test_registers_are_read_over_a_serial_line(line: SerialLine, serial_door: Door) -> None:
    """The request is the example of the specification's own layout: address, function, start, count, check sum."""
    line.registers |= {10: 0x0D0A, 11: 0x1103}  # bytes that a terminal in text mode would change
    assert serial_door.read(Place(3, "holding", 10), 2) == (0x0D0A, 0x1103)
    assert serial_door.read(Place(3, "input", 10), 1) == (0x0D0A,)
    assert line.asked[0][:6] == b"\x03\x03\x00\x0a\x00\x02" and line.asked[1][:6] == b"\x03\x04\x00\x0a\x00\x01"


def test_an_exception_and_a_silent_device_on_a_serial_line(line: SerialLine, serial_door: Door) -> None:
    assert why(serial_door, Place(3, "holding", 99)) == "the device refuses: illegal data address (code 2)"
    assert why(serial_door, Place(4, "holding", 0)) == "no answer"
    assert serial_door.read(Place(3, "holding", 0), 1) == (0,)


def test_a_late_answer_on_a_serial_line_is_thrown_away(line: SerialLine, serial_door: Door) -> None:
    """RTU answers carry no number: what comes up to one timeout too late must be gone before the next question."""
    line.registers |= {0: 111, 1: 222}
    line.delay_s = 0.3
    assert why(serial_door, Place(3, "holding", 0)) == "no answer"
    line.delay_s = 0.0
    assert serial_door.read(Place(3, "holding", 1), 1) == (222,)


def test_a_damaged_frame_is_no_answer(line: SerialLine, serial_door: Door) -> None:
    line.spoil = lambda answer: answer[:3] + bytes((answer[3] ^ 1,)) + answer[4:]
    assert why(serial_door, Place(3, "holding", 0)) == "no answer"
    line.spoil = lambda answer: answer
    assert serial_door.read(Place(3, "holding", 0), 1) == (0,)


def test_the_port_is_set_as_the_file_says(line: SerialLine) -> None:
    """A pseudo-terminal keeps speed and stop bits; it has no parity."""
    door = Door(line.way("none", 2), 0.2)
    door.read(Place(3, "holding", 0), 1)
    settings = line.settings()
    assert settings[4] == settings[5] == termios.B19200
    assert settings[2] & termios.CSTOPB and not settings[3] & (termios.ICANON | termios.ECHO)  # type: ignore[operator]
    door.close()


def test_parity_and_stop_bits_become_flags() -> None:
    basis = termios.CS8 | termios.CREAD | termios.CLOCAL
    assert control_flags("none", 1) == basis
    assert control_flags("even", 1) == basis | termios.PARENB
    assert control_flags("odd", 2) == basis | termios.PARENB | termios.PARODD | termios.CSTOPB


def test_frames_are_told_apart_by_silence() -> None:
    """3.5 characters of 11 bits: 38.5 bits, 4.01 ms at 9,600; above 19,200 it is 1.75 ms."""
    assert silence_s(9600) == pytest.approx(0.0040104, abs=1e-7)
    assert silence_s(19_200) == pytest.approx(0.0020052, abs=1e-7)
    assert silence_s(115_200) == 0.00175


def test_a_port_belongs_to_one_program(line: SerialLine) -> None:
    """Without parity, which a pseudo-terminal refuses, only the lock can stand in the way."""
    first, other = Door(line.way("none"), 0.2), Door(line.way("none"), 0.2)
    assert first.read(Place(3, "holding", 0), 1) == (0,)
    assert why(other, Place(3, "holding", 0)) == f"cannot open {line.path}: Resource temporarily unavailable"
    first.close()
    assert other.read(Place(3, "holding", 0), 1) == (0,)
    other.close()


def test_a_port_that_is_not_there_is_told() -> None:
    door = Door(Serial("/dev/no-such-port", 9600, "none", 1), 0.2)
    assert why(door, Place(3, "holding", 0)) == "cannot open /dev/no-such-port: No such file or directory"


def test_an_adapter_that_is_pulled_out_is_told(line: SerialLine) -> None:
    door = Door(line.way(), 0.2)
    door.read(Place(3, "holding", 0), 1)
    line.stop()
    assert why(door, Place(3, "holding", 0)) == "the connection was lost"
    assert why(door, Place(3, "holding", 0)).startswith("cannot open ")
    line.__init__()  # type: ignore[misc]  # for the fixture to stop


def test_an_adapter_that_is_pulled_out_during_a_read_ends_it(line: SerialLine) -> None:
    door = Door(line.way("none"), 5.0)
    threading.Timer(0.2, line.stop).start()
    began = time.monotonic()
    assert why(door, Place(4, "holding", 0)) == "the connection was lost"
    assert time.monotonic() - began < 2
    line.__init__()  # type: ignore[misc]  # for the fixture to stop


# -- it only reads ---------------------------------------------------------------------------------------------


WRITES: list[tuple[str, dict[str, object]]] = [
    ("write_register", {"address": 0, "value": 1}),
    ("write_registers", {"address": 0, "values": [1]}),
    ("write_coil", {"address": 0, "value": True}),
    ("write_coils", {"address": 0, "values": [True]}),
    ("mask_write_register", {"address": 0, "and_mask": 0, "or_mask": 1}),
    ("readwrite_registers", {"read_address": 0, "read_count": 1, "address": 0, "values": [1]}),
    ("diag_restart_communication", {"toggle": True}),
]


def test_the_door_refuses_every_request_but_the_two_reads(devices: Devices, line: SerialLine) -> None:
    """Even the library's own write functions, called past the door, send nothing."""
    for way in (Tcp("127.0.0.1", devices.port), line.way()):
        client = Door(way, 0.3)._client
        for name, values in WRITES:
            with pytest.raises(PermissionError, match="this door only reads"):
                getattr(client, name)(**values, device_id=3)
        client.close()
    assert devices.reads == [] and line.asked == []


def test_the_door_has_no_function_that_writes() -> None:
    """Its public names are three, and no source beside it knows the library at all."""
    public = [name for name in vars(Door) if not name.startswith("_")]
    assert public == ["read", "close"]
    text = (SOURCE / "adapters" / "modbus.py").read_text()
    assert not re.search(r"write_(coil|register|file)|mask_write|readwrite|diag_|force_", text)
    knows = [
        path.name
        for path in SOURCE.rglob("*.py")
        if re.search(r"^\s*(from|import) pymodbus", path.read_text(), re.MULTILINE)
    ]
    assert knows == ["modbus.py"]
