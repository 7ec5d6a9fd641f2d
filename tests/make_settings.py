"""Write `deploy/guide/settings.md` from the tables of the jobsite file: python -m tests.make_settings."""

from __future__ import annotations

from collections.abc import Iterator
from inspect import getclosurevars
from pathlib import Path
from typing import Any, get_args

from annotated_types import Ge, Gt, Le, Lt, MaxLen, MinLen
from pydantic import AfterValidator
from pydantic.fields import FieldInfo

from alerts.measured import UNITS, Dimension
from gateway.site_amounts import LENGTH_M, TIME_S
from gateway.site_file import WIDEST_DEADBAND, SiteFile
from gateway.site_references import AREA_QUANTITIES, PIECE_QUANTITIES
from gateway.site_sensors import BASES, Table

TARGET = Path(__file__).parent.parent / "deploy" / "guide" / "settings.md"
HEAD = """# Settings of the jobsite file

Made by `python -m tests.make_settings` from the program itself; change the program, not this page. Begin with
`deploy/example.toml`; `dewgate check FILE` names every mistake with its line. An amount stands in quotes with its
unit ("0.5 K", "10 min"), a decimal has a point. A key that must be stated and is not is an error; nothing is
guessed, and no limit has a value of its own.
"""


def page() -> str:
    """The whole page."""
    parts = [
        HEAD,
        *(section(path, table) for path, table in tables(SiteFile, "")),
        _units(),
        _bases(),
        _judged(),
        _bands(),
    ]
    return "\n".join(parts)


def tables(model: type[Table], path: str) -> Iterator[tuple[str, type[Table]]]:
    """Every table of the file with its heading, in the order of the file."""
    for name, field in model.model_fields.items():
        inner = _table_of(field)
        if inner is not None:
            here = f"{path}.{name}".lstrip(".")
            yield (f"[[{here}]]" if _is_list(field) else f"[{here}]"), inner
            yield from tables(inner, here)


def section(heading: str, model: type[Table]) -> str:
    rows = [_row(name, field) for name, field in model.model_fields.items() if _table_of(field) is None]
    return "\n".join(
        [f"## `{heading}`", "", "| key | what | allowed | when left out |", "|---|---|---|---|", *rows, ""]
    )


def _row(name: str, field: FieldInfo) -> str:
    what = (field.description or "").replace("|", "\\|")
    return f"| `{name}` | {what} | {_allowed(field)} | {_default(field)} |"


def _default(field: FieldInfo) -> str:
    if field.is_required():
        return "**an error**"
    default: Any = field.default
    if default in ("", []):
        return "nothing, if the other keys allow it" if field.validate_default else "nothing"
    if isinstance(default, list):
        return ", ".join(f"`{each}`" for each in default)
    return f"`{str(default).lower() if isinstance(default, bool) else default}`"


def _allowed(field: FieldInfo) -> str:
    words = _choices(field)
    if words is not None:
        listed = ", ".join(f"`{word}`" for word in words if word)
        return f"some of {listed}" if _is_list(field) else listed
    if field.annotation is bool:
        return "`true`, `false`"
    if field.annotation is float:
        return "a number" + _bounds(field)
    if field.annotation is int:
        return "a whole number" + _bounds(field)
    of = "numbers" if get_args(field.annotation) == (float,) else "texts"
    return (f"a list of {of}" if _is_list(field) else "text") + _bounds(field)


def _choices(field: FieldInfo) -> tuple[str, ...] | None:
    """The words of a closed list, which `site_words.one_of` keeps in its check."""
    for each in _metadata(field):
        if isinstance(each, AfterValidator):
            found = getclosurevars(each.func).nonlocals
            if "choices" in found:
                return tuple(str(word) for word in found["choices"])
    return None


def _metadata(field: FieldInfo) -> list[Any]:
    inner = [each for arg in get_args(field.annotation) for each in get_args(arg)[1:]]
    return [*field.metadata, *inner]


def _bounds(field: FieldInfo) -> str:
    said = {Ge: "at least {}", Gt: "more than {}", Le: "at most {}", Lt: "less than {}"}
    found = []
    for each in field.metadata:
        match each:
            case MinLen(least):
                found.append("not empty" if least == 1 else f"at least {least} long")
            case MaxLen(most):
                found.append(f"at most {most} long")
            case Ge() | Gt() | Le() | Lt():
                (number,) = (getattr(each, key) for key in ("ge", "gt", "le", "lt") if hasattr(each, key))
                found.append(said[type(each)].format(number))
    return f", {', '.join(found)}" if found else ""


def _is_list(field: FieldInfo) -> bool:
    return getattr(field.annotation, "__origin__", None) is list


def _table_of(field: FieldInfo) -> type[Table] | None:
    for kind in (field.annotation, *get_args(field.annotation)):
        if isinstance(kind, type) and issubclass(kind, Table):
            return kind
    return None


def _name(of: Dimension) -> str:
    return of.value.split(" - ")[0]


def _units() -> str:
    by: dict[str, list[str]] = {}
    for spelling, unit in UNITS.items():
        by.setdefault(_name(unit.dimension), []).append(f"`{spelling}`")
    by["time"] = [f"`{each}`" for each in TIME_S]
    by["height"] = [f"`{each}`" for each in LENGTH_M]
    rows = [f"| {name} | {', '.join(units)} |" for name, units in by.items()]
    return "\n".join(["## Units", "", "| of | spellings |", "|---|---|", *rows, ""])


def _bases() -> str:
    said = "What a sensor may measure, and what its value may refer to (`basis`):"
    rows = [f"| `{of.value}` | {', '.join(f'`{word}`' for word in words)} |" for of, words in BASES.items()]
    return "\n".join(
        ["## Quantities and their basis", "", said, "", "| quantity | basis |", "|---|---|", *rows, ""]
    )


def _judged() -> str:
    rows = [
        f"| {where} | {', '.join(f'`{each.value}`' for each in quantities)} |"
        for where, quantities in (("an area", AREA_QUANTITIES), ("a piece of a train", PIECE_QUANTITIES))
    ]
    head = ["## What a limit can judge", "", "| a limit of | quantities |", "|---|---|"]
    said = "A limit of anything else is refused with its line.\n"
    return "\n".join([*head, *rows, "", said])


def _bands() -> str:
    said = "A deadband beyond these would hold an alarm long after the air is back, and is refused:"
    rows = [f"| {_name(of)} | {words} |" for of, (_, words) in WIDEST_DEADBAND.items()]
    return "\n".join(["## Widest deadbands", "", said, "", "| of | widest |", "|---|---|", *rows, ""])


if __name__ == "__main__":
    TARGET.write_text(page())
    print(f"{TARGET.name}: {len(page().splitlines())} lines")
