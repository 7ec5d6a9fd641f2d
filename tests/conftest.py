"""The same examples for everyone: what fails here fails there. `make search` looks at fresh ones."""

import os
from pathlib import Path

import pytest
from hypothesis import settings

settings.register_profile("same for all", derandomize=True)
settings.register_profile("search", max_examples=500, derandomize=False)
settings.load_profile(os.environ.get("EXAMPLES", "same for all"))


@pytest.fixture(scope="session")
def kept_whole(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A home of 40 simulated hours: a sealed block and more, heads, a sealed report of the first 39; read only."""
    import dataclasses
    from contextlib import closing

    from gateway import note_command, record_command
    from gateway.adapters.journal import Journal, pack_oldest
    from tests.record_story import jobsite, journal

    home = tmp_path_factory.mktemp("retention") / "home"
    lead = jobsite().people[0]
    owner = dataclasses.replace(lead, id="owner", holds_heads=True)
    journal(home, 40, jobsite(people=(lead, owner)))
    with closing(Journal(home / "journal.db")) as book:
        while packed := pack_oldest(book.path):
            book.seal(packed)
    assert note_command.run("note", ["--home", str(home), "--who", "lead", "the yard is dry"], "") == 0
    words = ["--home", str(home), "--from", "2026-05-31T19:00", "--until", "2026-06-02T10:00"]
    assert record_command.run("record", [*words, "--out", str(home.parent / "record")], "") == 0
    return home
