"""The first day of a keeper, on a fresh Debian 12: `make first-day`, as root, some minutes.

A chroot made by debootstrap, a fresh clone, install, the network for sensors, start, the keeper's account, a first
sensor with a login of its own, an unknown one pasted into the file, an alert on a webhook and by mail, backup,
wipe, restore, verify, uninstall. Prints `day <step> <s>` for each. What runs there is started by the words of the
shipped units, as their user, since no systemd runs in a chroot. The machine's settings for apt and pip go along.
"""

from __future__ import annotations

import argparse
import ctypes
import http.cookiejar
import json
import os
import re
import shlex
import shutil
import signal
import socket
import subprocess
import sys
import tempfile
import threading
import time
import urllib.parse
import urllib.request
import zipfile
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

import paho.mqtt.client as paho
from aiosmtpd.controller import Controller

from gateway.adapters.address import Address
from tests.faults.soak_box import Phone
from tests.sites import pack

REPOSITORY = Path(__file__).parent.parent.parent
HOME, PAGE = "/var/lib/dewgate", "http://127.0.0.1:8080"
PASSWORD = "grit, steel and dry air"
LIMIT = """
[[limits]]
id = "A-margin"
quantity = "dew_point_margin"
relation = "at least"
threshold = "3 K"
clause = "invented specification, 4.2"
area = "A"
activities = ["blasting", "coating"]
deadband = "0.5 K"
on_delay = "5 s"
off_delay = "10 min"
unknown_delay = "5 min"
advice = "Stop blasting area A."
"""
UNITS = {"air-t": "Cel", "air-rh": "%RH", "baro": "hPa", "steel-low": "Cel", "steel-two": "Cel"}
ANSWERS = {
    "label": '"Steel, warmest spot"', "quantity": '"steel_temperature"', "accuracy": '"not stated"',
    "basis": '"contact"', "element": '"ambient"', "interval": '"10 s"', "classified_area": '"no"',
}  # fmt: skip
AS_SERVICE = ("setpriv", "--reuid=dewgate", "--regid=dewgate", "--clear-groups", "--no-new-privs")
CERTIFICATES = "/etc/this-machine.crt"
CLONE_NEWNET = 0x40000000


class Mailbox:
    """Takes mail as a server would."""

    def __init__(self) -> None:
        self.taken: list[str] = []

    async def handle_DATA(self, _server: object, _session: object, envelope: object) -> str:  # noqa: N802
        self.taken.append(envelope.content.decode())
        return "250 taken"


def environment() -> dict[str, str]:
    """What a shell in the box would have, and this machine's settings for pip."""
    pip = {key: value for key, value in os.environ.items() if key.startswith("PIP_")}
    return pip | {
        "PATH": "/usr/local/bin:/usr/sbin:/usr/bin:/sbin:/bin",
        "HOME": "/root",
        "PIP_CERT": CERTIFICATES,
    }


class Box:
    """A fresh system in a folder, and what was started in it."""

    def __init__(self, root: Path) -> None:
        self.root, self.running = root, dict[str, subprocess.Popen[bytes]]()
        self.output = root / "tmp" / "said.log"

    def do(self, *words: str, to: int | None = 0) -> str:
        """Run a command as root in the box; return what it said. Raises when its exit code is not `to`."""
        done = subprocess.run(
            ["chroot", str(self.root), *words], capture_output=True, text=True, check=False, env=environment()
        )
        if to is not None and done.returncode != to:
            raise RuntimeError(
                f"{shlex.join(words)}: exit {done.returncode}\n{done.stdout[-2000:]}{done.stderr[-2000:]}"
            )
        return done.stdout + done.stderr

    def unit(self, name: str) -> list[str]:
        """The words a unit starts, as its user, with its environment file."""
        lines = (self.root / "etc/systemd/system" / f"{name}.service").read_text()
        start = re.findall(r"^ExecStart=(.*)$", lines, re.MULTILINE)[0]
        for key, value in re.findall(
            r'^(\w+)="(.*)"$', self.at("/etc/dewgate/dewgate.env").read_text(), re.MULTILINE
        ):
            start = start.replace(f"${key}", value)
        user = re.findall(r"^User=(.*)$", lines, re.MULTILINE)[0]
        return [*(word.replace("dewgate", user) for word in AS_SERVICE), *shlex.split(start)]

    def start(self, name: str, *words: str) -> None:
        """Start a service."""
        with self.output.open("ab") as out:
            command = ["chroot", str(self.root), *(words or self.unit(name))]
            self.running[name] = subprocess.Popen(command, stdout=out, stderr=out, env=environment())

    def stop(self, *names: str) -> None:
        """Stop services, in order."""
        for name in names:
            self.running[name].terminate()
            if self.running.pop(name).wait(30):
                raise RuntimeError(f"{name} did not end well:\n{self.said()[-2000:]}")

    def said(self) -> str:
        """What the services said so far."""
        return self.output.read_text()

    def at(self, path: str) -> Path:
        """A path of the box, seen from here."""
        return self.root / path.lstrip("/")

    def dewgate(self, *words: str, to: int | None = 0) -> str:
        """The command as a keeper types it."""
        return self.do("dewgate", *words, to=to)


def until(what: Callable[[], object], name: str, seconds: float = 60.0) -> None:
    """Wait for something to come about."""
    end = time.monotonic() + seconds
    while not what():
        if time.monotonic() > end:
            raise RuntimeError(f"not within {seconds:g} s: {name}")
        time.sleep(0.2)


def is_open(port: int) -> bool:
    """Whether somebody listens on a port of this machine."""
    with socket.socket() as probe:
        return probe.connect_ex(("127.0.0.1", port)) == 0


class Day:
    """The steps, each timed and printed."""

    def __init__(self, box: Box) -> None:
        self.box, self.began = box, time.monotonic()
        self.web = urllib.request.build_opener(urllib.request.HTTPCookieProcessor(http.cookiejar.CookieJar()))
        self.values = {"air-t": 15.0, "air-rh": 60.0, "baro": 1005.0}
        self.passwords: dict[str, str] = {}
        self.ended = threading.Event()

    @contextmanager
    def step(self, name: str) -> Iterator[None]:
        """Time one step."""
        began = time.monotonic()
        yield
        print(f"day {name:<10} {time.monotonic() - began:6.1f} s", flush=True)

    # -- on the network of the machine

    def install(self) -> None:
        """Clone and install, then let sensors in by TLS."""
        box, source = self.box, self.box.at("/root/dewgate")
        with self.step("clone"):
            subprocess.run(["git", "clone", "-q", "--no-hardlinks", str(REPOSITORY), str(source)], check=True)
        with self.step("install"):
            said = box.do("/root/dewgate/deploy/install.sh")
            assert "systemctl enable --now dewgate-run dewgate-deliver" in said, said
        with self.step("network"):
            said = box.do("/root/dewgate/deploy/install.sh", "network", "localhost")
            assert "dewgate sensors add NAME" in said, said

    # -- on a network of its own, so that no port is taken

    def set_up(self) -> None:
        """A jobsite in force, everything started, the keeper's account made."""
        box = self.box
        with self.step("start"):
            text = (
                box.at("/opt/dewgate/deploy/example.toml")
                .read_text()
                .replace("# simulated = true", "simulated = true")
            )
            box.at("/etc/dewgate/jobsite.toml").write_text(text + LIMIT)
            box.do("install", "-d", "-o", "mosquitto", "/run/mosquitto")  # as the broker's own unit does
            box.start("mosquitto", "mosquitto", "-c", "/etc/mosquitto/mosquitto.conf")
            until(lambda: is_open(8883), "the broker")
            told = ["--home", HOME, "--who", "ann", "--why", "start of job"]
            box.do(*AS_SERVICE, "dewgate", "apply", "/etc/dewgate/jobsite.toml", *told)
            box.start("dewgate-run")
            until(lambda: "one-time code" in box.said(), "the code")
        with self.step("account"):
            code = re.findall(r"one-time code (\S+)", box.said())[0]
            until(lambda: self._page("/begin"), "the page")
            self._post("/begin", {"code": code, "name": "Ann", "password": PASSWORD})
            until(lambda: "First area" in self._page("/"), "the board for Ann")

    def sensors(self) -> None:
        """The first sensors with a login each, shown on the board; and one that nobody has announced."""
        box = self.box
        with self.step("sensor"):
            for name in ("steel-low", *self.values):
                self._add(name)
            self.values["steel-low"] = 14.2
            threading.Thread(target=self._speak, daemon=True).start()
            until(
                lambda: "14.2" in self._page("/") and "margin" in self._page("/").lower(), "14.2 °C on the board"
            )
        with self.step("unknown"):
            self._add("steel-two")
            self.values["steel-two"] = 15.1
            until(lambda: 'id = "steel-two"' in box.dewgate("sensors", "--home", HOME), "the table to paste")
            jobsite = box.at("/etc/dewgate/jobsite.toml")
            spot = '[[areas.steel]]\nsensor = "steel-two"\nspot = "warmest"\n\n'
            text = jobsite.read_text().replace("# -- air train:", f"{spot}# -- air train:", 1)
            jobsite.write_text(text + answered(box.dewgate("sensors", "--home", HOME)))
            box.dewgate("check", "/etc/dewgate/jobsite.toml")
            box.dewgate(
                "apply", "/etc/dewgate/jobsite.toml", "--home", HOME, "--who", "ann", "--why", "second spot"
            )
            until(lambda: "warmest" in self._page("/"), "the second spot on the board")

    def alert(self) -> None:
        """Steel that gets too cold: a webhook first; mail once its address is in the file, without a restart."""
        box, phone, mail = self.box, Phone(), Mailbox()
        server = Controller(mail, hostname="127.0.0.1", port=2525)
        server.start()
        with self.step("alert"):
            contacts = box.at("/etc/dewgate/contacts.toml")
            address = f'lead-phone = "json://127.0.0.1:{phone.server.server_port}/phone"\n'
            contacts.write_text(f"[channels]\n{address}")
            box.start("dewgate-deliver")
            self.values["steel-low"] = 9.0
            until(lambda: any("Stop blasting area A" in title for _, title in phone.taken), "the alert")
        with self.step("mail"):
            more = 'lead-mail = "mailto://127.0.0.1:2525/?from=gate@site.example&to=lead@site.example&mode=insecure"\n'
            contacts.write_text(f"[channels]\n{address}{more}")
            jobsite = box.at("/etc/dewgate/jobsite.toml")
            jobsite.write_text(
                jobsite.read_text().replace('channels = ["lead-phone"]', 'channels = ["lead-phone", "lead-mail"]')
            )
            until(lambda: "2 channels event=contacts" in box.said(), "the contacts file is read again")
            box.dewgate("apply", "/etc/dewgate/jobsite.toml", "--home", HOME, "--who", "ann", "--why", "mail")
            box.dewgate("deliver", "--home", HOME, "--contacts", "/etc/dewgate/contacts.toml", "--test", "lead")
            until(lambda: mail.taken, "a mail")
        server.stop()

    def recover(self) -> None:
        """Backup, everything gone, restore, and the same record again."""
        box = self.box
        with self.step("backup"):
            box.do(*box.unit("dewgate-backup"))
            shutil.copytree(box.at(f"{HOME}/keys"), box.at("/root/keys"))
            entries = self._entries()
        with self.step("wipe"):
            box.stop("dewgate-run", "dewgate-deliver")
            for path in box.at(HOME).iterdir():
                shutil.rmtree(path) if path.is_dir() else path.unlink()
        with self.step("restore"):
            (file,) = box.at("/var/backups/dewgate").glob("dewgate-*.zip")
            box.dewgate("restore", f"/var/backups/dewgate/{file.name}", "--home", HOME)
            box.do("cp", "-r", "/root/keys", f"{HOME}/keys")
            box.do("chown", "-R", "dewgate:", f"{HOME}/keys")
            box.start("dewgate-run")
            box.start("dewgate-deliver")
            until(
                lambda: "9.0" in self._page("/") and self._entries() >= entries,
                "the board, and what came meanwhile",
            )

    def verify(self) -> None:
        """Replay gives the same events; a sceptic's program finds the record whole; the doctor nothing bad."""
        box = self.box
        with self.step("verify"):
            box.stop("dewgate-run")  # an orderly end signs a head over everything
            box.dewgate("replay", "--home", HOME)
            box.dewgate("export", "--home", HOME, "--out", "/root/job.zip")
            with zipfile.ZipFile(box.at("/root/job.zip")) as packed:
                packed.extract("verify_record.py", box.at("/root"))
            said = box.do("/opt/dewgate/.venv/bin/python", "/root/verify_record.py", "/root/job.zip")
            print("    " + "\n    ".join(line for line in said.splitlines() if line)[:1500])
        with self.step("doctor"):
            box.start("dewgate-run")
            until(lambda: "14.2" in self._page("/") or "9.0" in self._page("/"), "the board")
            words = ["--broker-user", "dewgate-run", "--broker-password-file", "/etc/dewgate/broker.password"]
            words += [
                "--contacts",
                "/etc/dewgate/contacts.toml",
                "--certificate",
                "/etc/mosquitto/dewgate/broker.crt",
            ]
            said = box.dewgate("doctor", "--home", HOME, *words, to=None)
            print("    " + "\n    ".join(said.splitlines()))
            assert "\nbad " not in f"\n{said}", said

    def leave(self) -> None:
        """Take the program away; the record stays."""
        with self.step("uninstall"):
            self.ended.set()
            self.box.stop("dewgate-run", "dewgate-deliver", "mosquitto")
            self.box.do("/root/dewgate/deploy/install.sh", "uninstall")
            assert not self.box.at("/opt/dewgate").exists() and self.box.at(f"{HOME}/journal.db").exists()
        print(f"day {'whole':<10} {time.monotonic() - self.began:6.1f} s", flush=True)

    # -- small things

    def _add(self, name: str) -> None:
        said = self.box.dewgate("sensors", "add", name, "--home", HOME)
        self.passwords[name] = re.findall(r"^password +(\S+)$", said, re.MULTILINE)[0]
        self.box.running["mosquitto"].send_signal(signal.SIGHUP)  # as systemctl reload does

    def _speak(self) -> None:
        """Every sensor on a connection of its own, under its own name, as itself."""
        clients: dict[str, paho.Client] = {}
        while not self.ended.wait(1.0):
            for name, value in list(self.values.items()):
                if name not in clients:
                    clients[name] = self._client(name)
                said = pack(name, value + time.time() % 1 / 1000, time.time_ns() // 1_000_000, UNITS[name])
                clients[name].publish(f"dewgate/example/{name}", said, qos=1)
        for client in clients.values():
            client.loop_stop()

    def _client(self, name: str) -> paho.Client:
        client = paho.Client(paho.CallbackAPIVersion.VERSION2, name, protocol=paho.MQTTv311)
        ca = str(self.box.at("/etc/mosquitto/dewgate/ca.crt"))
        Address("localhost", 8883, name, self.passwords[name], ca).dress(client)
        client.connect("localhost", 8883)
        client.loop_start()
        return client

    def _page(self, path: str) -> str:
        try:
            with self.web.open(PAGE + path, timeout=10) as answer:
                return str(answer.read().decode())
        except OSError:
            return ""

    def _post(self, path: str, form: dict[str, str]) -> None:
        data = urllib.parse.urlencode(form).encode()
        asked = urllib.request.Request(PAGE + path, data, {"Origin": PAGE})
        self.web.open(asked, timeout=10).close()

    def _entries(self) -> int:
        said = self.box.dewgate("sensors", "--home", HOME, "--json")
        return sum(each.get("messages", 0) for each in json.loads(said).get("sensors", []))


def answered(said: str) -> str:
    """The table `dewgate sensors` prints for steel-two, with its questions answered as a keeper would."""
    begin = said.index('[[sensors]]\nid = "steel-two"')
    lines = said[begin:].split("\n\n", maxsplit=1)[0].splitlines()
    told = {line.split(" =")[0] for line in lines if re.match(r"\w+ = ", line)}
    asked = {found[1] for line in lines if (found := re.match(r"# (\w+) = ", line))}
    assert asked - told <= set(ANSWERS) | {"equipment_rating", "accuracy_means", "topic"}, asked
    kept = [line for line in lines if not line.startswith("#")]
    return (
        "\n"
        + "\n".join([*kept, *(f"{key} = {value}" for key, value in ANSWERS.items() if key not in told)])
        + "\n"
    )


@contextmanager
def fresh_debian(folder: Path, base: Path) -> Iterator[Path]:
    """A minimal Debian 12 in a folder, with this machine's settings for apt, pip and names."""
    root = folder / "root"
    root.mkdir()
    if not base.exists():
        files = [path for path in Path("/etc/apt").rglob("*") if path.suffix in (".list", ".sources")]
        sources = "".join(path.read_text() for path in files if path.is_file())
        mirror = re.findall(r"^(?:URIs:|deb) +(http\S+)", sources, re.MULTILINE)[0]
        make = [
            "debootstrap",
            "--variant=minbase",
            f"--make-tarball={base}",
            "bookworm",
            str(folder / "work"),
            mirror,
        ]
        subprocess.run(make, check=True, capture_output=True)
    unpack = ["debootstrap", "--variant=minbase", f"--unpack-tarball={base}", "bookworm", str(root)]
    subprocess.run(unpack, check=True, capture_output=True)
    (root / "etc/apt/sources.list").unlink(missing_ok=True)
    shutil.copytree("/etc/apt", root / "etc/apt", dirs_exist_ok=True, ignore=shutil.ignore_patterns("*disabled*"))
    shutil.copyfile("/etc/ssl/certs/ca-certificates.crt", root / CERTIFICATES[1:])
    for path in ("/etc/resolv.conf", "/etc/hosts", "/etc/pip.conf", "/root/.config/pip/pip.conf"):
        if Path(path).exists():
            (root / path[1:]).parent.mkdir(parents=True, exist_ok=True)
            shutil.copyfile(path, root / path[1:])
    (root / "usr/sbin/policy-rc.d").write_text("#!/bin/sh\nexit 101\n")  # nothing is started by its package
    (root / "usr/sbin/policy-rc.d").chmod(0o755)
    subprocess.run(["mount", "-t", "proc", "proc", str(root / "proc")], check=True)
    try:
        yield root
    finally:
        subprocess.run(["umount", "-l", str(root / "proc")], check=True)


def on_a_network_of_its_own() -> None:
    """From here on nothing but this program and what it starts is on the network."""
    if ctypes.CDLL(None, use_errno=True).unshare(CLONE_NEWNET):
        raise OSError(ctypes.get_errno(), "no network of its own")
    subprocess.run(["ip", "link", "set", "lo", "up"], check=True)


def main() -> int:
    """Live through the day; return 0 when every step came about."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").split("\n", maxsplit=1)[0])
    parser.add_argument(
        "--base", type=Path, help="tar of Debian's packages by debootstrap; made if it is not there"
    )
    args = parser.parse_args()
    if os.geteuid() or not shutil.which("debootstrap"):
        words = "as root, with debootstrap (apt install debootstrap): it makes a system in a folder, and a network"
        print(words, file=sys.stderr)
        return 2
    signal.signal(signal.SIGTERM, lambda *_: sys.exit(2))
    with tempfile.TemporaryDirectory(prefix="first-day-") as name:
        began = time.monotonic()
        with fresh_debian(Path(name), (args.base or Path(name) / "base.tar").resolve()) as root:
            print(f"day {'debian 12':<10} {time.monotonic() - began:6.1f} s (made by debootstrap)", flush=True)
            box = Box(root)
            day = Day(box)
            try:
                day.install()
                on_a_network_of_its_own()
                for step in (day.set_up, day.sensors, day.alert, day.recover, day.verify, day.leave):
                    step()
            except BaseException:
                print(box.said()[-3000:] if box.output.exists() else "", file=sys.stderr)
                raise
            finally:
                day.ended.set()
                for process in box.running.values():
                    process.kill()
    return 0


if __name__ == "__main__":
    sys.exit(main())
