"""The whole way of one alarm with the real programs: broker, `run`, `deliver`, a phone, its link, the journal."""

from __future__ import annotations

import re
import signal
import subprocess
import sys
import time
import urllib.error
import urllib.request
from contextlib import closing
from pathlib import Path

import paho.mqtt.client as paho

from gateway import entry
from gateway.adapters.journal import entries_after, open_reader
from gateway.entry import Kind
from gateway.payload import canonical
from tests.broker import Mosquitto
from tests.faults.kill_run import prepare
from tests.faults.real import Gateway, until
from tests.sites import margin_limit, pack, site
from tests.test_delivery import Target, target, write_contacts

__all__ = ["target"]
BREACH = {"air-t": 20.0, "air-rh": 80.0, "baro": 1013.0, "steel": 17.0}  # dew point 16.4 °C


def publish(port: int) -> None:
    client = paho.Client(paho.CallbackAPIVersion.VERSION2, "publisher", protocol=paho.MQTTv311)
    client.connect("127.0.0.1", port)
    client.loop_start()
    for name, value in BREACH.items():
        client.publish(f"dewgate/test/{name}", pack(name, value, time.time_ns() // 1_000_000), 1).wait_for_publish(
            10
        )
    client.disconnect()
    client.loop_stop()


def ask(url: str, method: str) -> tuple[int, str]:
    request = urllib.request.Request(url, method=method, data=b"" if method == "POST" else None)
    try:
        with urllib.request.urlopen(request, timeout=10) as answer:
            return answer.status, answer.read().decode()
    except urllib.error.HTTPError as refused:
        return refused.code, refused.read().decode()


def said(home: Path, kind: Kind) -> list[dict[str, object]]:
    with closing(open_reader(home / "journal.db")) as reader:
        unpacked = [entry.unpack(made) for made in entries_after(reader, 0)]
    return [canonical.to_dict(body) for each, _, body in unpacked if each is kind]


def test_an_alarm_is_acknowledged_from_the_phone(tmp_path: Path, target: Target) -> None:
    home, broker = tmp_path / "home", Mosquitto(tmp_path)
    prepare(home, site(margin_limit(on_delay_s=0.0, activities=())))
    run = Gateway(home, f"127.0.0.1:{broker.port}", tmp_path / "log")
    contacts = write_contacts(tmp_path, **{"lead-phone": target.url("ok")})
    command = [sys.executable, "-m", "gateway", "deliver", "--home", str(home), "--contacts", str(contacts)]
    deliver = subprocess.Popen([*command, "--link", f"http://127.0.0.1:{run.page}"])
    try:
        run.wait_for_board()
        publish(broker.port)
        until(lambda: bool(target.texts), "the message")
        found = re.search(r"Acknowledge in the name of lead: (http://\S+)$", target.texts[0])
        assert found
        assert target.taken[0].startswith("A-1 #1 Stop blasting area A")
        assert [ask(found[1], "GET")[0] for _ in range(2)] == [200, 200]
        assert said(home, Kind.ACTION) == []
        assert ask(found[1], "POST")[0] == 200
        until(lambda: bool(said(home, Kind.ACTION)), "the acknowledgement")
        status, page = ask(found[1], "POST")
        assert (status, "it acts only once" in page) == (410, True)
        until(lambda: bool(said(home, Kind.DELIVERY)), "the outcome")
    finally:
        deliver.send_signal(signal.SIGTERM)
        assert deliver.wait(20) == 0
        assert run.stop() == 0
        broker.stop()
    assert said(home, Kind.ACTION) == [{"act": "acknowledge", "number": "A-1", "person": "lead", "door": "link"}]
    (outcome,) = said(home, Kind.DELIVERY)
    assert (outcome["outcome"], outcome["number"], outcome["channel"]) == ("delivered", "A-1", "lead-phone")
