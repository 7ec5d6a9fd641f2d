"""The file of wired transmitters: what it becomes, and every mistake with its line and the words it brings."""

from __future__ import annotations

from decimal import Decimal
from pathlib import Path

import pytest

from gateway.config import ConfigErrors
from gateway.wired import Line, Place, Point, Serial, Tcp, Wired
from gateway.wired_file import load

EXAMPLE = Path(__file__).parent.parent / "deploy" / "wired.toml"
GOOD = """\
[jobsite]
id = "test"
[[lines]]
id = "a"
kind = "tcp"
host = "10.0.0.5"
port = 502
timeout = "1 s"
[[lines.points]]
sensor = "x"
device_id = 3
table = "holding"
address = 7
type = "int16"
factor = "0.1"
unit = "Cel"
interval = "10 s"
[[lines]]
id = "b"
kind = "rtu"
device = "/dev/ttyUSB0"
baud = 9600
parity = "none"
stop_bits = 2
timeout = "0.5 s"
[[lines.points]]
sensor = "y"
device_id = 1
table = "input"
address = 0
type = "float32"
word_order = "low first"
factor = "1"
unit = "mA"
interval = "1 min"
"""


def told(folder: Path, text: str) -> list[str]:
    """All that is said about a text."""
    (folder / "w.toml").write_text(text)
    with pytest.raises(ConfigErrors) as caught:
        load(folder / "w.toml")
    return str(caught.value).splitlines()


def test_a_file_becomes_a_plan(tmp_path: Path) -> None:
    (tmp_path / "w.toml").write_text(
        GOOD.replace('factor = "1"', 'factor = "1"\noffset = "-2"\nnot_valid = [-1, 0.1]')
    )
    x = Point("x", Place(3, "holding", 7), "int16", "", Decimal("0.1"), Decimal(0), "Cel", (), 10.0)
    y = Point(
        "y", Place(1, "input", 0), "float32", "low first", Decimal(1), Decimal(-2), "mA",
        (-1.0, 0.10000000149011612), 60.0,  # binary32 nearest to 0.1
    )  # fmt: skip
    lines = (
        Line("a", Tcp("10.0.0.5", 502), 1.0, (x,)),
        Line("b", Serial("/dev/ttyUSB0", 9600, "none", 2), 0.5, (y,)),
    )
    assert load(tmp_path / "w.toml") == Wired("test", lines)


def test_the_example_reads_and_says_that_it_is_simulated() -> None:
    assert "simulated" in EXAMPLE.read_text().splitlines()[0] + EXAMPLE.read_text().splitlines()[1]
    plan = load(EXAMPLE)
    sensors = [point.sensor for line in plan.lines for point in line.points]
    assert (plan.jobsite, sensors) == ("example", ["air-t", "air-rh", "baro", "dryer-dew"])


ORDER = "which of two registers comes first, as the sheet says: 'high first' or 'low first'"
AS_SENT = "; if the sheet says that this number itself goes over the line: address_as_sent = true"
BAUDS = "1200, 2400, 4800, 9600, 19200, 38400, 57600, 115200"


@pytest.mark.parametrize(
    ("old", "new", "line", "words"),
    [
        ("address = 7", "address = 40108", 13, "40108 is a traditional number: in table 'holding' address = 107 "
         f"is meant{AS_SENT}"),
        ("address = 7", "address = 40001", 13, f"in table 'holding' address = 0 is meant{AS_SENT}"),
        ("address = 7", "address = 30001", 13, f"in table 'input' address = 0 is meant{AS_SENT}"),
        ("address = 7", "address = 65536", 13, "address = 65536: must be 0 to 65535"),
        ("address = 0", "address = 65535", 30, "the second register would be 65536; the last one is 65535"),
        ("device_id = 3", "device_id = 248", 11, "device_id = 248: a device on a line has 1 to 247"),
        ("device_id = 1", "device_id = 0", 28, "device_id = 0: a device on a line has 1 to 247"),
        ("device_id = 3", 'device_id = "3"', 11, "device_id must be a whole number without quotes"),
        ('type = "int16"', 'type = "int64"', 14, "not known here, did you mean 'int16'?"),
        ('type = "int16"', 'type = "int32"', 9, f"word_order is missing: {ORDER}"),
        ('type = "int16"', 'type = "int16"\nword_order = "low first"', 15,
         "int16 is one register, so it has no word_order; leave it out"),
        ('factor = "0.1"', 'factor = "0,1"', 15,
         "write a number with a point, such as '0.1'; its unit stands under unit"),
        ('factor = "0.1"', 'factor = "0.0"', 15, "with a factor of zero every reading would be the same"),
        ('factor = "0.1"\n', "", 9,
         "factor is missing: what the number in the registers is multiplied with, such as '0.1'"),
        ('unit = "Cel"', 'unit = "cell"', 16, "not known here, did you mean 'Cel'?"),
        ('unit = "Cel"', 'unit = "Cel"\nnot_valid = [1, 40000]', 17, "40000 does not fit into int16"),
        ('unit = "Cel"', 'unit = "Cel"\nnot_valid = ["1"]', 17, "not_valid must be numbers without quotes"),
        ('interval = "10 s"', 'interval = "0.05 s"', 17, "between two readings lie 0.1 s to 24 h"),
        ('timeout = "1 s"', 'timeout = "11 s"', 8, "an answer is waited for 0.02 s to 10 s"),
        ('sensor = "y"', 'sensor = "x"', 27, "'x' stands here twice; each sensor once"),
        ('id = "b"', 'id = "a"', 19, "'a' stands here twice; each id once"),
        ('sensor = "x"', 'sensor = "x"\nadress = 1', 11, "unknown key 'adress', did you mean 'address'?"),
        ('sensor = "x"', 'sensor = "x/1"', 10,
         "an id has letters, digits and - _ . : only, no blank, and is not empty"),
        ("port = 502\n", "", 3, "port is missing: its port; 502 unless the sheet says otherwise"),
        ("port = 502", "port = 502\nbaud = 9600", 8, "baud does not belong to kind 'tcp'; leave it out"),
        ("baud = 9600", "baud = 9601", 22, f"baud = 9601: not one of {BAUDS}"),
        ('kind = "rtu"', 'kind = "rtw"', 20, "not known here, did you mean 'rtu'?"),
        ('parity = "none"', 'parity = "mark"', 23, "not one of none, even, odd"),
        ("stop_bits = 2", "stop_bits = 3", 24, "stop_bits = 3: must be 1 to 2"),
        ("address = 7", "address = 7\naddress = 8", 14, "Cannot overwrite a value, at column 12"),
        ('[jobsite]\nid = "test"', "", 1, "jobsite is missing: the table [jobsite] with the id"),
    ],
)  # fmt: skip
def test_a_mistake_is_told_with_its_line(tmp_path: Path, old: str, new: str, line: int, words: str) -> None:
    assert old in GOOD
    (said,) = told(tmp_path, GOOD.replace(old, new, 1))
    assert said.startswith(f"w.toml:{line}: ") and said.endswith(words)


def test_a_large_number_that_goes_over_the_line_is_taken_when_said_so(tmp_path: Path) -> None:
    (tmp_path / "w.toml").write_text(GOOD.replace("address = 7", "address = 40108\naddress_as_sent = true"))
    assert load(tmp_path / "w.toml").lines[0].points[0].place.address == 40_108


def test_two_sensors_cannot_share_a_register(tmp_path: Path) -> None:
    """The second register of y belongs to it as well."""
    more = GOOD + GOOD[GOOD.index('[[lines.points]]\nsensor = "y"') :].replace('"y"', '"z"')
    said = told(tmp_path, more.replace("address = 0", "address = 1", 1))
    assert said == ['w.toml:40: line "b": point "z": address = 0: register 1 belongs to sensor \'y\' already']


def test_one_serial_port_is_one_line(tmp_path: Path) -> None:
    more = GOOD + GOOD[GOOD.index('[[lines]]\nid = "b"') :].replace('"b"', '"c"').replace('"y"', '"z"')
    assert told(tmp_path, more) == [
        'w.toml:39: line "c": device = "/dev/ttyUSB0": \'/dev/ttyUSB0\' stands here twice; each device once'
    ]


def test_all_mistakes_come_at_once_in_the_order_of_lines(tmp_path: Path) -> None:
    text = (
        GOOD.replace("port = 502", "port = 0").replace("stop_bits = 2", "stop_bits = true").replace('"Cel"', "1")
    )
    assert [line.split(": ")[0] for line in told(tmp_path, text)] == ["w.toml:7", "w.toml:16", "w.toml:24"]


def test_what_is_no_text_is_told(tmp_path: Path) -> None:
    (tmp_path / "w.toml").write_bytes(b'[jobsite]\nid = "\xff"\n')
    with pytest.raises(ConfigErrors, match=r"w.toml:2: not UTF-8 text"):
        load(tmp_path / "w.toml")
