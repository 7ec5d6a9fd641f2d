"""Templates filled: the board, its sections for the stream, and every other page in the same frame.

All text is escaped by the template engine; names and reasons come from people and sensors.
"""

from __future__ import annotations

import secrets
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path

from jinja2 import Environment, FileSystemLoader, StrictUndefined, pass_context
from jinja2.runtime import Context
from markupsafe import Markup

from alerts.measured import Validity
from gateway.board import Board, SensorLine
from gateway.clocks import Phrase
from gateway.jobsite import ACTIVITIES
from gateway.web import amounts, tongue, words
from gateway.web.areas import areas
from gateway.web.gaps import groups, scale_for
from gateway.web.gate import Signed
from gateway.web.live import Sections
from gateway.web.roles import Permission
from gateway.web.taste import Taste
from gateway.web.until import until
from gateway.work_acts import DECISIONS, IDLE

SECTIONS = ("heading", "verdicts", "gaps", "alarms", "sensors", "record")


def _environment() -> Environment:
    environment = Environment(
        loader=FileSystemLoader(Path(__file__).parent / "templates"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    environment.globals.update(words=words, amounts=amounts, Validity=Validity, ACTIVITIES=(*ACTIVITIES, IDLE))
    environment.globals |= {
        "t": _translated, "told": _told, "say": _said, "script_words": _script_words, "until": until,
    }  # fmt: skip
    environment.globals["DECISIONS"] = DECISIONS
    environment.tests["unacknowledged"] = words.is_unacknowledged
    return environment


@pass_context
def _translated(context: Context, text: str) -> str:
    """Return a text in the reader's language."""
    return tongue.translated(str(text), context["taste"].language)


@pass_context
def _said(context: Context, phrase: Phrase) -> str:
    """Return a sentence with its parts in the reader's language and units."""
    taste: Taste = context["taste"]
    return phrase.said(
        lambda text: tongue.whole(text, taste.language),
        lambda at: f"{amounts.degrees(at.t_c, taste):.{at.decimals}f} {taste.temperature}",
    )


@pass_context
def _told(context: Context, text: str) -> str:
    """Return what the gateway's core says, marked as English where nobody has translated it."""
    language = context["taste"].language
    said = tongue.translated(str(text), language)
    return Markup('<span lang="en">{}</span>').format(said) if language != "en" and said == text and text else said


@pass_context
def _script_words(context: Context, script: str) -> str:
    """Return the texts of a script in the reader's language, as JSON."""
    return tongue.of_script(script, context["taste"].language)


@dataclass(frozen=True, slots=True)
class Place:
    """A page the navigation leads to, and who sees it there."""

    path: str
    word: str
    permission: Permission = Permission.SEE


NAVIGATION = (
    Place("/", "Board"), Place("/alarms", "Alarms"), Place("/steel", "Steel"), Place("/history", "History"),
    Place("/record", "Record"),
    Place("/water", "Water path"), Place("/plan", "Plan"),
    Place("/dryers", "Dryers", Permission.RENTALS),
    Place("/limits", "Limits"), Place("/entries", "Entries", Permission.NOTE),
    Place("/set-up", "Set-up", Permission.SET_UP), Place("/people", "Accounts", Permission.ACCOUNTS),
    Place("/account", "You"),
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Pages:
    """Draws boards and pages. Sections are drawn once for many readers: in their forms stands a slot instead of
    the reader's own token, filled on the way out. places: what the navigation leads to."""

    places: tuple[Place, ...] = NAVIGATION
    _templates: Environment = field(default_factory=_environment)
    _slot: str = field(default_factory=lambda: f"slot-{secrets.token_hex(16)}")

    def filled(self, text: str, who: Signed) -> str:
        """Return the text with the reader's token in its forms."""
        return text.replace(self._slot, who.token)

    def sections(self, board: Board, taste: Taste) -> Sections:
        """Return the HTML of each section of the board."""
        scale = scale_for(board.gaps, taste)
        context = {
            "board": board,
            "token": self._slot,
            "taste": taste,
            "scale": scale,
            "groups": groups(board.gaps, scale, taste),
            "sensors": _unused_first(board.sensors),
        }
        context |= {"areas": areas(board)}
        return {name: self._templates.get_template(f"{name}.html").render(context) for name in SECTIONS}

    def page(self, board: Board | None, who: Signed) -> str:
        """Return the board's page; without a board it says so and waits for the stream."""
        sections = dict.fromkeys(SECTIONS, "") if board is None else self.sections(board, who.taste)
        return self.filled(self.draw("page.html", who, board, {"sections": sections}), who)

    def draw(self, template: str, who: Signed, board: Board | None, context: Mapping[str, object]) -> str:
        """Return a page with its frame: navigation, language, the reader's token in every form."""
        frame: dict[str, object] = {
            "board": board,
            "who": who,
            "taste": who.taste,
            "token": who.token,
            "places": [each for each in self.places if who.may(each.permission)],
            "may": " ".join(each for each in Permission if who.may(each)),
        }
        return self._templates.get_template(template).render({**frame, **context})

    def outside(self, template: str, taste: Taste, **context: object) -> str:
        """Return a page for somebody who has not signed in."""
        return self._templates.get_template(template).render(taste=taste, who=None, board=None, **context)


def _unused_first(sensors: tuple[SensorLine, ...]) -> list[SensorLine]:
    """What is wrong comes first; otherwise the order stays."""
    return sorted(sensors, key=lambda sensor: sensor.validity is not Validity.UNKNOWN)
