"""Templates filled with a board: the whole page, its sections for the stream, and a refusal.

All text is escaped by the template engine; names and reasons come from people and sensors.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from pathlib import Path

from jinja2 import Environment, FileSystemLoader, StrictUndefined

from alerts.measured import Validity
from gateway.board import Board, SensorLine
from gateway.web import words
from gateway.web.gaps import groups, scale_for
from gateway.web.live import Sections

SECTIONS = ("heading", "verdicts", "gaps", "alarms", "sensors", "record")


def _environment() -> Environment:
    environment = Environment(
        loader=FileSystemLoader(Path(__file__).parent / "templates"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    environment.globals.update(words=words, Validity=Validity)
    environment.tests["unacknowledged"] = words.is_unacknowledged
    return environment


@dataclass(frozen=True, slots=True)
class Pages:
    """Draws boards; the token goes into every form."""

    token: str
    _templates: Environment = field(default_factory=_environment)

    def sections(self, board: Board) -> Sections:
        """Return the HTML of each section."""
        scale = scale_for(board.gaps)
        context = {
            "board": board,
            "token": self.token,
            "scale": scale,
            "groups": groups(board.gaps, scale),
            "sensors": _unused_first(board.sensors),
        }
        return {name: self._templates.get_template(f"{name}.html").render(context) for name in SECTIONS}

    def page(self, board: Board | None) -> str:
        """Return the whole page; without a board it says so and waits for the stream."""
        sections = dict.fromkeys(SECTIONS, "") if board is None else self.sections(board)
        return self._templates.get_template("page.html").render(board=board, sections=sections)

    def refusal(self, error: str) -> str:
        """Return the page that says why nothing was acknowledged."""
        return self._templates.get_template("refusal.html").render(error=error)


def _unused_first(sensors: tuple[SensorLine, ...]) -> list[SensorLine]:
    """What is wrong comes first; otherwise the order stays."""
    return sorted(sensors, key=lambda sensor: sensor.validity is not Validity.UNKNOWN)
