"""What is shipped to install: units the system accepts and shuts in, settings that Debian's broker takes."""

from __future__ import annotations

import re
import shutil
import subprocess
from pathlib import Path

import pytest

from gateway import sensor_login
from tests.broker import SHIPPED, Mosquitto, free_port

DEPLOY = SHIPPED.parent
UNITS = sorted((DEPLOY / "systemd").iterdir())


def analyze(*words: str) -> subprocess.CompletedProcess[str]:
    """Ask systemd-analyze."""
    program = shutil.which("systemd-analyze")
    assert program is not None, "systemd is not installed: apt install systemd"
    return subprocess.run([program, *words], capture_output=True, text=True, check=False)


@pytest.mark.parametrize("unit", UNITS, ids=lambda unit: unit.name)
def test_the_system_takes_the_units(unit: Path, tmp_path: Path) -> None:
    """No word of it is unknown; the program stands in for one that is not installed here."""
    for each in UNITS:
        (tmp_path / each.name).write_text(each.read_text().replace("/opt/dewgate/.venv/bin/dewgate", "/bin/true"))
    said = analyze("verify", "--man=no", str(tmp_path / unit.name))
    assert (said.returncode, said.stderr) == (0, "")


@pytest.mark.parametrize("unit", [unit for unit in UNITS if unit.suffix == ".service"], ids=lambda unit: unit.name)
def test_the_units_are_shut_in(unit: Path) -> None:
    """Exposure by systemd's own measure, 0 to 10, at most 2: what it calls OK begins below 5."""
    said = analyze("security", "--offline=true", str(unit))
    found = re.search(r"Overall exposure level for .*: ([\d.]+)", said.stdout)
    assert found and float(found[1]) <= 2.0, said.stdout + said.stderr


@pytest.mark.parametrize("unit", [unit for unit in UNITS if unit.suffix == ".service"], ids=lambda unit: unit.name)
def test_no_unit_opens_the_home_to_others(unit: Path) -> None:
    """The system sets the mode of a state folder at each start of any unit that names it: 0755 if none is said."""
    lines = unit.read_text().splitlines()
    assert "StateDirectory=dewgate" in lines and "StateDirectoryMode=0700" in lines and "UMask=0077" in lines


@pytest.mark.parametrize("name", ["run", "deliver", "push", "yard"])
def test_no_service_is_given_up(name: str) -> None:
    """Nobody may be there to start it: the limit of starts, five within ten seconds if nothing is said, is off."""
    lines = (DEPLOY / "systemd" / f"dewgate-{name}.service").read_text().splitlines()
    assert "StartLimitIntervalSec=0" in lines and not any(line.startswith("StartLimitBurst") for line in lines)
    (how,) = (line for line in lines if line.startswith("Restart="))
    assert how == ("Restart=on-failure" if name == "run" else "Restart=always")


@pytest.mark.parametrize("name", ["mosquitto.conf", "mosquitto-network.conf"])
def test_the_broker_takes_our_settings_beside_debians(name: str, tmp_path: Path) -> None:
    """As the installer leaves out what Debian's own file says: Mosquitto refuses a key said twice."""
    installer = (DEPLOY / "install.sh").read_text()
    command = re.search(r"grep -v '([^']+)' \"\$here/deploy/\$1\"", installer)
    assert command is not None and f"broker_settings {name}\n" in installer
    secrets = tmp_path / "secrets"
    made = [str(DEPLOY / "make-certificates.sh"), str(secrets), "localhost"]
    subprocess.run(made, check=True, capture_output=True)
    sensor_login.add(secrets, sensor_login.GATEWAY_NAME, "any")
    text = (DEPLOY / name).read_text().replace("/etc/mosquitto/dewgate", str(secrets))
    text = text.replace("8883", str(free_port()))
    ours = [line for line in text.splitlines() if not re.match(command[1], line)]
    debian = ["persistence true", "persistence_location /var/lib/mosquitto/"]
    broker = Mosquitto(tmp_path, whole="\n".join([*debian, *ours]))
    broker.stop()
    assert broker.process.returncode == 0


@pytest.mark.parametrize("script", sorted(DEPLOY.glob("*.sh")), ids=lambda script: script.name)
def test_the_shell_understands_the_scripts(script: Path) -> None:
    """Each begins with its shell, stops at the first error and has no slip of syntax."""
    assert script.read_text().startswith("#!/bin/sh\n") and "\nset -eu\n" in script.read_text()
    assert subprocess.run(["sh", "-n", str(script)], capture_output=True, check=False).returncode == 0
