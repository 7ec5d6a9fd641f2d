"""The broker as shipped for the network, with certificates and passwords made by the shipped means."""

from __future__ import annotations

import re
import ssl
import subprocess
import time
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path

import paho.mqtt.client as paho
import pytest

from gateway import sensor_login
from gateway.adapters.address import Address
from tests.broker import SHIPPED, Mosquitto, free_port
from tests.faults.kill_run import prepare, start, stored
from tests.sites import pack

DEPLOY = SHIPPED.parent
NETWORK = (DEPLOY / "mosquitto-network.conf").read_text()


@dataclass
class Network:
    """A running broker, its folder of secrets, its two ports and the passwords by name."""

    broker: Mosquitto
    folder: Path
    tls_port: int
    passwords: dict[str, str] = field(default_factory=dict)

    @property
    def ca(self) -> str:
        """The file a sensor is given."""
        return str(self.folder / "ca.crt")

    def client(self, name: str, password: str | None = None) -> paho.Client:
        """A client under a sensor's name, over TLS, that notes what it hears and whether it was let in."""
        client = paho.Client(paho.CallbackAPIVersion.VERSION2, f"c-{name}", protocol=paho.MQTTv311)
        Address("localhost", 0, name, password or self.passwords[name], self.ca).dress(client)
        client.heard, client.reasons, client.granted = [], [], []
        client.on_connect = lambda _c, _u, _f, reason, _p: client.reasons.append(reason)
        client.on_message = lambda _c, _u, message: client.heard.append((message.topic, message.payload))
        client.on_subscribe = lambda _c, _u, _m, reasons, _p: client.granted.extend(reasons)
        client.connect("localhost", self.tls_port)
        client.loop_start()
        _until(lambda: client.reasons)
        return client


def certify(folder: Path) -> None:
    """Make a CA, if there is none, and a certificate for this machine, as a keeper does."""
    made = [str(DEPLOY / "make-certificates.sh"), str(folder), "localhost"]
    subprocess.run(made, check=True, capture_output=True)


@pytest.fixture
def network(tmp_path: Path) -> Iterator[Network]:
    """The shipped settings with other ports and folders, certificates and three names."""
    folder = tmp_path / "secrets"
    folder.mkdir()
    subprocess.run(
        [str(DEPLOY / "make-certificates.sh"), str(folder), "localhost"], check=True, capture_output=True
    )
    names = (sensor_login.GATEWAY_NAME, "steel", "air-t")
    passwords = {name: sensor_login.add(folder, name, "test") for name in names}
    tls_port = free_port()
    text = NETWORK.replace("/etc/mosquitto/dewgate", str(folder)).replace("8883", str(tls_port))
    broker = Mosquitto(tmp_path, whole=text)
    yield Network(broker, folder, tls_port, passwords)
    broker.stop()


def _until(holds: object, seconds: float = 10.0) -> None:
    end = time.monotonic() + seconds
    while not holds():  # type: ignore[operator]
        assert time.monotonic() < end
        time.sleep(0.02)


def test_a_sensor_speaks_as_itself_only(network: Network) -> None:
    """Its own topic is passed on; another's, the gateway's and any reading of others is not."""
    run, steel = network.client(sensor_login.GATEWAY_NAME), network.client("steel")
    run.subscribe("#", 1)
    _until(lambda: run.granted)
    steel.subscribe([("dewgate/#", 1), ("dewgate/test/steel", 1)])
    _until(lambda: steel.granted)
    for topic in ("dewgate/test/air-t", "dewgate-marker/dewgate-run", "dewgate/other/steel", "dewgate/test/steel"):
        steel.publish(topic, topic.encode(), 1).wait_for_publish(5)
    _until(lambda: run.heard)
    time.sleep(0.5)
    assert run.heard == [("dewgate/test/steel", b"dewgate/test/steel")] and steel.heard == []
    for client in (run, steel):
        client.disconnect()
        client.loop_stop()


def test_who_is_not_known_stays_outside(network: Network) -> None:
    """A wrong password is refused; without TLS or with another CA no connection comes about."""
    assert network.client("steel", "wrong").reasons[0].is_failure
    plain = paho.Client(paho.CallbackAPIVersion.VERSION2, "plain", protocol=paho.MQTTv311)
    plain.connect("localhost", network.tls_port)
    assert [plain.loop(2.0) for _ in range(2)][-1] != paho.MQTT_ERR_SUCCESS and not plain.is_connected()
    other = network.folder.parent / "other"
    other.mkdir()
    subprocess.run(
        [str(DEPLOY / "make-certificates.sh"), str(other), "localhost"], check=True, capture_output=True
    )
    stranger = paho.Client(paho.CallbackAPIVersion.VERSION2, "stranger", protocol=paho.MQTTv311)
    stranger.tls_set(str(other / "ca.crt"))
    with pytest.raises(ssl.SSLCertVerificationError):
        stranger.connect("localhost", network.tls_port)


def test_the_real_program_over_tls(network: Network, tmp_path: Path) -> None:
    """`run` with its CA and its password takes what a sensor sends, and finds the broker's settings good."""
    home, secret = tmp_path / "home", tmp_path / "run.password"
    prepare(home)
    secret.write_text(network.passwords[sensor_login.GATEWAY_NAME])
    secret.chmod(0o600)
    more = ("--broker-user", sensor_login.GATEWAY_NAME, "--broker-password-file", str(secret))
    run = start(home, network.tls_port, *more, "--broker-ca", network.ca, host="localhost")
    try:
        steel = network.client("steel")

        def is_stored() -> bool:  # what is sent before `run` has its session is nobody's
            steel.publish("dewgate/test/steel", pack("steel", 20.0, time.time_ns() // 1_000_000), 1)
            time.sleep(0.3)
            return bool(stored(home))

        _until(is_stored, 30.0)
        steel.disconnect()
    finally:
        run.terminate()
        run.wait(20)


def test_renewing_keeps_the_ca_and_anew_gives_another_password(network: Network) -> None:
    """No sensor has to be given another CA; a name keeps one password at a time, and its one right."""
    before = Path(network.ca).read_bytes()
    certify(network.folder)
    assert Path(network.ca).read_bytes() == before
    with pytest.raises(sensor_login.Refused, match="has a password already"):
        sensor_login.add(network.folder, "steel", "test")
    assert sensor_login.add(network.folder, "steel", "test", anew=True) != network.passwords["steel"]
    passwords, topics = ((network.folder / name).read_text() for name in ("passwords", "topics"))
    assert passwords.count("steel:") == 1 and topics.count("dewgate/test/steel\n") == 1
    with pytest.raises(sensor_login.Refused, match="'a/b'"):
        sensor_login.add(network.folder, "a/b", "test")


def test_both_brokers_keep_the_same_promises() -> None:
    """What the promises about loss need stands in both files with the same value."""
    kept = (
        "persistence",
        "autosave_interval",
        "autosave_on_changes",
        "max_queued_messages",
        "max_inflight_messages",
    )
    plain, network = (
        dict(re.findall(r"^(\w+) (.+)$", text, re.MULTILINE)) for text in (SHIPPED.read_text(), NETWORK)
    )
    assert {key: plain[key] for key in kept} == {key: network[key] for key in kept}
