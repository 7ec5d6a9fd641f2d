"""The real program behind the proxy as shipped: own authority, nginx, board; only ports and names are others."""

from __future__ import annotations

import re
import shutil
import ssl
import subprocess
import sys
import time
from collections.abc import Iterator
from itertools import pairwise
from pathlib import Path

import httpx
import pytest

from tests.broker import SHIPPED, free_port
from tests.faults.kill_run import prepare
from tests.faults.real import until

DEPLOY = SHIPPED.parent
GOOD = "grit, steel and dry air"


class Proxied:
    """A gateway that has no broker, and the proxy in front of it."""

    def __init__(self, folder: Path) -> None:
        nginx = shutil.which("nginx", path="/usr/sbin:/usr/local/sbin:/usr/bin")
        assert nginx, "nginx is not installed: apt install nginx-light"
        secrets, self.said = folder / "secrets", folder / "said"
        made = [str(DEPLOY / "make-certificates.sh"), str(secrets), "localhost"]
        subprocess.run(made, check=True, capture_output=True)
        self.ca, self.plain, self.port, page = str(secrets / "ca.crt"), free_port(), free_port(), free_port()
        prepare(folder / "home")
        run = [sys.executable, "-m", "gateway", "run", "--home", str(folder / "home"), "--behind-proxy"]
        with self.said.open("ab") as out:
            addresses = ["--broker", f"127.0.0.1:{free_port()}", "--page", f"127.0.0.1:{page}"]
            self.run = subprocess.Popen([*run, *addresses], stdout=out, stderr=out)
        text = (DEPLOY / "nginx.conf").read_text().replace("gateway.lan", "localhost")
        for shipped, ours in (
            ("/etc/mosquitto/dewgate", str(secrets)), ("127.0.0.1:8080", f"127.0.0.1:{page}"),
            ("listen 80;", f"listen 127.0.0.1:{self.plain};"),
            ("listen 443 ssl;", f"listen 127.0.0.1:{self.port} ssl;"),
            ("https://$server_name$", f"https://$server_name:{self.port}$"),
        ):  # fmt: skip
            assert shipped in text, shipped
            text = text.replace(shipped, ours)
        text = re.sub(r"listen \[::\].*;\n", "\n", text)
        (folder / "nginx.conf").write_text(f"events {{}}\nhttp {{\naccess_log off;\n{text}}}\n")
        words = f"daemon off; pid {folder}/pid; error_log stderr;"
        with (folder / "proxy").open("ab") as out:
            command = [nginx, "-p", str(folder), "-c", str(folder / "nginx.conf"), "-g", words]
            self.nginx = subprocess.Popen(command, stdout=out, stderr=out)
        until(lambda: "one-time code" in self.said.read_text(), "the code")

    @property
    def url(self) -> str:
        """What a person types."""
        return f"https://localhost:{self.port}"

    def visitor(self, address: str) -> httpx.Client:
        """A browser of somebody at an address of this machine, which trusts the own authority only."""
        transport = httpx.HTTPTransport(verify=ssl.create_default_context(cafile=self.ca), local_address=address)
        return httpx.Client(transport=transport, base_url=self.url, headers={"Origin": self.url})

    def end(self) -> None:
        """Stop both."""
        for process in (self.nginx, self.run):
            process.terminate()
            process.wait(20)


@pytest.fixture(scope="module")
def proxied(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Proxied]:
    made = Proxied(tmp_path_factory.mktemp("proxied"))
    yield made
    made.end()


def test_plain_visitors_are_sent_to_https(proxied: Proxied) -> None:
    """To the name in the file, whatever name they asked for, and to the same page."""
    asked = f"http://127.0.0.1:{proxied.plain}/history?from=1"
    answer = httpx.get(asked, headers={"Host": "elsewhere.example"})
    assert (answer.status_code, answer.headers["location"]) == (301, f"{proxied.url}/history?from=1")


def test_guesses_are_counted_by_the_visitors_own_address(proxied: Proxied) -> None:
    """A visitor who names other addresses is refused all the same; another one may still try."""
    form = {"name": "Kim", "password": "wrong steel plates"}
    with proxied.visitor("127.0.0.3") as one, proxied.visitor("127.0.0.4") as other:
        forged = [{"X-Forwarded-For": f"198.51.100.{n}", "Forwarded": f"for=198.51.100.{n}"} for n in range(6)]
        assert [one.post("/sign-in", data=form, headers=each).status_code for each in forged] == [403] * 5 + [429]
        assert other.post("/sign-in", data=form | {"name": "Bo"}).status_code == 403


def test_a_person_gets_in_and_sees_the_board_live(proxied: Proxied) -> None:
    """Over TLS, by the code; the cookie is bound to this host; each second comes by itself, not in a heap."""
    code = re.findall(r"one-time code (\S+)", proxied.said.read_text())[0]
    with proxied.visitor("127.0.0.1") as keeper:
        begin = keeper.post("/begin", data={"code": code, "name": "Ann", "password": GOOD})
        assert begin.status_code == 303 and set(keeper.cookies) == {"__Host-dewgate"}
        assert "max-age" in begin.headers["strict-transport-security"]
        assert "Ann" in keeper.get("/").text
        came = []
        with keeper.stream("GET", "/live") as live:
            for line in live.iter_lines():
                came += [time.monotonic()] if line == "event: board" else []
                if len(came) == 4:
                    break
        assert all(0.3 < later - sooner < 2.5 for sooner, later in list(pairwise(came))[1:])


def test_other_sites_and_endless_bodies_are_refused(proxied: Proxied) -> None:
    """The page that sends a form is known through the proxy; nothing larger than a picture gets through."""
    with proxied.visitor("127.0.0.5") as visitor:
        foreign = visitor.post("/sign-in", data={"name": "Ann"}, headers={"Origin": "https://elsewhere.example"})
        assert foreign.status_code == 403 and "another site" in foreign.text
        assert visitor.post("/photos", content=bytes(8_000_000)).status_code == 413
