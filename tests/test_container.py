"""The image and how it is started, as far as can be said without an engine: what is copied is there, what is
started exists and takes its words, and nothing runs with a right it does not need.
"""

from __future__ import annotations

import fnmatch
import json
import re
import shlex
from pathlib import Path
from typing import Any

import pytest
import yaml

from gateway.__main__ import PASSED_ON, _parser

ROOT = Path(__file__).parent.parent
DEPLOY = ROOT / "deploy"
FILE = re.sub(r"\\\n\s*", " ", (DEPLOY / "Dockerfile").read_text())
LINES = [line for line in FILE.splitlines() if line and not line.startswith("#")]
COMPOSE: dict[str, Any] = yaml.safe_load((DEPLOY / "compose.yaml").read_text())
SERVICES: dict[str, dict[str, Any]] = COMPOSE["services"]
STAGES = re.split(r"^(?=FROM )", "\n".join(LINES), flags=re.MULTILINE)[1:]


def said(stage: str, word: str) -> list[str]:
    """The lines of a stage that begin with an instruction, without it."""
    return [line.removeprefix(f"{word} ") for line in stage.splitlines() if line.startswith(f"{word} ")]


def goes_along(source: str) -> bool:
    """Whether a path of the checkout gets past the ignore file: the last rule that fits decides."""
    kept = True
    for rule in (DEPLOY / "Dockerfile.dockerignore").read_text().splitlines():
        if rule and not rule.startswith("#"):
            wanted = rule.removeprefix("!")
            if fnmatch.fnmatch(source, wanted) or source.startswith(f"{wanted}/"):
                kept = rule.startswith("!")
    return kept


def test_the_bases_are_pinned_and_the_last_one_is_no_builder() -> None:
    """A tag with a version, never "latest"; the compiler's stage is left behind."""
    bases = [said(stage, "FROM")[0] for stage in STAGES]
    assert len(bases) == 2 and all(re.match(r"[a-z/]+:\d[\w.-]+( AS \w+)?$", base) for base in bases)
    assert bases[0].endswith(" AS build") and " AS " not in bases[1]
    assert "pip install" not in STAGES[1] and "COPY --from=build /opt/dewgate /opt/dewgate" in STAGES[1]


@pytest.mark.parametrize(
    "source",
    [
        source
        for stage in STAGES
        for line in said(stage, "COPY")
        if not line.startswith("--from")
        for source in shlex.split(line)[:-1]
    ],
)
def test_what_is_copied_is_there_and_is_sent_to_the_builder(source: str) -> None:
    assert (ROOT / source).exists() and goes_along(source)


def test_nothing_else_is_sent_to_the_builder() -> None:
    """No key, journal, history or test reaches an image layer by mistake."""
    for source in (".git", "tests", "keys", "deploy/guide", "dewgate-home", "lock/all.txt", ".venv"):
        assert not goes_along(source), source


def test_it_is_installed_as_everywhere() -> None:
    """From the same lock with hashes, wheels only; every name that the package needs is copied before."""
    pip = [line for line in said(STAGES[0], "RUN") if "pip install" in line]
    assert "--require-hashes --only-binary=:all: -r lock/demo.txt" in pip[0]
    assert "--no-deps --no-build-isolation ." in pip[1]
    packages = re.findall(r"^include = \[(.*)\]", (ROOT / "pyproject.toml").read_text(), re.MULTILINE)[0]
    copied = {name for line in said(STAGES[0], "COPY") for name in shlex.split(line)[:-1]}
    assert {name.strip('"* ') for name in packages.split(",")} <= copied
    assert (DEPLOY / "install.sh").read_text().count("lock/demo.txt") == 1


def test_the_image_runs_as_nobody_in_particular() -> None:
    """By number, so that an orchestrator can see that it is not root; its folders are its own, and closed."""
    assert said(STAGES[1], "USER") == ["990:990"]
    made = said(STAGES[1], "RUN")[0]
    assert "--uid 990 --gid 990" in made and "install -d -m 0700 -o dewgate -g dewgate /var/lib/dewgate" in made
    assert json.loads(said(STAGES[1], "ENTRYPOINT")[0]) == ["dewgate"]


@pytest.mark.parametrize("name", SERVICES)
def test_every_service_is_shut_in(name: str) -> None:
    """Not root, nothing writable but its volumes and a bounded /tmp, no capability, no way to a privilege."""
    service = SERVICES[name]
    assert service["user"] == "990:990" and service["read_only"] is True and service["cap_drop"] == ["ALL"]
    assert service["security_opt"] == ["no-new-privileges:true"] and "privileged" not in service
    assert service["tmpfs"] == ["/tmp:size=64m,mode=1777,noexec,nosuid,nodev"]  # noqa: S108  the container's own
    assert service["image"] == f"dewgate:{_version()}" and service["pids_limit"] <= 200
    assert (DEPLOY / service["build"]["context"]).resolve() == ROOT
    assert (ROOT / service["build"]["dockerfile"]).is_file()
    assert not any("docker.sock" in volume for volume in service.get("volumes", ()))
    assert "healthcheck" in service


def _version() -> str:
    return re.findall(r'^version = "(.*)"', (ROOT / "pyproject.toml").read_text(), re.MULTILINE)[0]


@pytest.mark.parametrize("name", ["run", "deliver", "backup", "sensors"])
def test_the_program_takes_the_words(name: str) -> None:
    """Each service starts a command of the program with settings it has."""
    words = [*SERVICES[name].get("entrypoint", ["dewgate"]), *SERVICES[name]["command"]][1:]
    if words[0] in PASSED_ON:
        from importlib import import_module

        module = import_module(f"gateway.{PASSED_ON[words[0]][0]}")
        assert module._parser(words[0], "").parse_args(words[1:]).home == Path("/var/lib/dewgate")
    else:
        assert _parser().parse_args(words).home == Path("/var/lib/dewgate")


def test_who_may_write_where() -> None:
    """The broker's secrets are written by the one tool that makes them, settings by none; few ports are open."""
    for name, service in SERVICES.items():
        for volume in service["volumes"]:
            if volume.endswith("/etc/dewgate:ro") or "/etc/dewgate" not in volume.split(":")[-1]:
                continue
            raise AssertionError(f"{name} may write {volume}")
    secrets = {n: v for n, s in SERVICES.items() for v in s["volumes"] if "/etc/mosquitto/dewgate" in v}
    assert set(secrets) == {"broker", "sensors"} and secrets["broker"].endswith(":ro")
    ports = {name: service["ports"] for name, service in SERVICES.items() if "ports" in service}
    assert ports == {"broker": ["8883:8883"], "run": ["127.0.0.1:8080:8080"]}
    assert {n for n, s in SERVICES.items() if s.get("network_mode") == "none"} == {"backup", "sensors"}
    named = {volume.split(":")[0] for s in SERVICES.values() for volume in s["volumes"] if volume[0] not in "$/."}
    assert named == set(COMPOSE["volumes"])
