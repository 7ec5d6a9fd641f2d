"""How one person reads: language and units. Kept with the account; a page without one is in English and SI."""

from __future__ import annotations

from dataclasses import dataclass, fields

CHOICES: dict[str, tuple[str, ...]] = {
    "language": ("en", "es"),
    "temperature": ("°C", "°F"),
    "pressure": ("bar", "psi"),
    "flow": ("m³/min", "cfm"),
    "volume": ("L", "gal"),
}
"""What a person may choose; the first is taken where nothing was chosen."""


@dataclass(frozen=True, slots=True)
class Taste:
    """One choice of each; frozen, so that boards in the same taste are drawn once."""

    language: str = "en"
    temperature: str = "°C"
    pressure: str = "bar"
    flow: str = "m³/min"
    volume: str = "L"

    def written(self) -> str:
        """Return the choices as one line for the accounts file."""
        return " ".join(str(getattr(self, each.name)) for each in fields(self))


def taste_of(written: str) -> Taste:
    """Return what `written` gave, or what is usual for anything that is no longer a choice."""
    return Taste(**{
        name: next((each for each in written.split(" ") if each in choices), choices[0])
        for name, choices in CHOICES.items()
    })  # fmt: skip


def chosen(form: dict[str, str]) -> Taste:
    """Return the choices of a form; what is not on the list counts as not chosen."""
    return taste_of(" ".join(form.get(name, "") for name in CHOICES))
