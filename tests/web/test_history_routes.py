"""History's calls: what is drawn is what is kept, in the reader's units; files too; nonsense is refused."""

from __future__ import annotations

import csv
import io
import json
import shutil
from contextlib import closing
from dataclasses import replace
from datetime import datetime
from pathlib import Path

import httpx
import pytest
from pyarrow import parquet

from gateway import tree
from gateway.adapters.history import Drawn, draw
from gateway.adapters.history_fine import raw
from gateway.adapters.history_out import COLUMNS
from gateway.adapters.journal import Journal, open_reader
from gateway.adapters.spans import entry_at
from gateway.web.history_panels import panels, places
from gateway.web.history_values import View, drawn_values
from gateway.web.taste import Taste
from tests.web.conftest import Pages, Stage
from tests.web.history_home import HOUR_MS, NOW_MS, SILENT, the_site
from tests.web.made import BOARD

DAY = "from=2026-07-01T10:00Z&until=2026-07-02T10:00Z"
LIVE = "from=2026-07-13T12:00Z&until=2026-07-13T12:30Z"
MARGIN = "A|dew_point_margin|steel (coldest)"


@pytest.fixture(scope="module")
def home(made_month: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    return shutil.copytree(made_month, tmp_path_factory.mktemp("copy"), dirs_exist_ok=True)


@pytest.fixture
def month(home: Path) -> Pages:
    """The pages on a made month."""
    return Pages(Stage(home, replace(BOARD, utc_ms=NOW_MS), the_site()).app())


def lines_of(answer: httpx.Response) -> dict[str, dict[str, object]]:
    assert answer.status_code == 200, answer.text
    return {line["channel"]: line for panel in answer.json()["panels"] for line in panel["lines"]}


def test_what_is_drawn_is_what_the_journal_keeps(home: Path, month: Pages) -> None:
    """Column by column, rounded; the dew point is the steel's mean less the margin's."""
    answer = month.ask("GET", f"/history/data?place=A&{DAY}&columns=24")
    lines = lines_of(answer)
    begin, until = answer.json()["from"], answer.json()["until"]
    with closing(open_reader(home / "journal.db")) as db:
        kept = draw(db, [*lines], begin, until, 24)
    assert answer.json()["each"] == HOUR_MS
    margin, drawn = lines[MARGIN], kept[MARGIN]
    assert (margin["low"], margin["high"]) == tuple([round(x, 2) for x in y] for y in (drawn.low, drawn.high))
    pressure = lines["line-p"]
    assert pressure["mean"] == [round(each / 1e5, 3) for each in kept["line-p"].mean]
    panel = answer.json()["panels"][1]
    steel, point = panel["lines"][0], panel["lines"][1]
    assert point["label"] == "condensation point" and point["low"] is None
    assert point["mean"][5] == pytest.approx(steel["mean"][5] - margin["mean"][5], abs=0.011)


def test_the_margin_comes_first_and_every_panel_of_the_place(month: Pages) -> None:
    """An area has its steel, then the train that feeds it; a train only itself."""
    area = month.ask("GET", f"/history/data?place=A&{DAY}").json()["panels"]
    assert [each["id"] for each in area] == [
        "dew_point_margin", "steel_temperature", "relative_humidity", "condensation_margin", "pressure_dew_point",
        "gauge_pressure", "gas_temperature",
    ]  # fmt: skip
    assert [(each["label"], each["clause"], each["lines"]) for each in area[0]["limits"]] == [
        ("at least 3", "test specification 4.2", [0])
    ]
    assert area[2]["limits"][0]["lines"] == [0]  # the humidity of the air, not that at the steel
    train = month.ask("GET", f"/history/data?place=T1&{DAY}").json()["panels"]
    assert [each["id"] for each in train] == [each["id"] for each in area[3:]]
    assert train[0]["limits"][0]["value"] == 2.0


def test_silence_is_counted_and_what_is_to_come_is_not(month: Pages) -> None:
    """Seven hours of silence are one gap; the hours after now are none."""
    night = month.ask("GET", "/history/data?place=A&from=2026-06-21T08:00Z&until=2026-06-22T00:00Z")
    gaps = lines_of(night)[MARGIN]["gaps"]
    assert gaps == {"count": 1, "total_s": 25200, "longest_s": 25200, "of_s": 57600}
    assert SILENT[1] - SILENT[0] == 7 * HOUR_MS
    later = month.ask("GET", "/history/data?place=A&from=2026-07-13T11:30Z&until=2026-07-14T12:30Z&columns=100")
    assert lines_of(later)["steel"]["gaps"]["of_s"] == 4200 if "steel" in lines_of(later) else True
    assert lines_of(later)["pot-skin"]["gaps"]["total_s"] < 120
    assert lines_of(later)["pot-skin"]["mean"][-1] is None


def test_alarms_and_activities_stand_with_their_times(month: Pages) -> None:
    """From their entries and events; what lies outside the range is left out."""
    spell = "from=2026-07-01T00:00Z&until=2026-07-04T00:00Z"
    answer = month.ask("GET", f"/history/data?place=A&{spell}").json()
    assert [(each["number"], each["cause"]) for each in answer["alarms"]] == [
        ("A-2", "outside limits"),
        ("A-3", "outside limits"),
    ]
    assert answer["alarms"][0]["acknowledged"] - answer["alarms"][0]["from"] == HOUR_MS
    (work,) = answer["activities"]
    assert (work["area"], work["activity"], work["until"] - work["from"]) == ("A", "blasting", 9 * HOUR_MS)
    assert [each["number"] for each in month.ask("GET", f"/history/data?place=A&{LIVE}").json()["alarms"]] == []
    whole = month.ask("GET", "/history/data?place=T1&from=2026-06-14T00:00Z&until=2026-07-13T00:00Z").json()
    assert whole["alarms"] == []  # of the steel, not of the train
    assert [each["area"] for each in whole["activities"]] == ["A"]


def test_values_are_in_the_reader_s_units(home: Path) -> None:
    """°F for temperatures, Fahrenheit degrees for margins and their limit, psi."""
    site, view = the_site(), View("A", NOW_MS - HOUR_MS, NOW_MS, NOW_MS)
    with closing(open_reader(home / "journal.db")) as db:

        def values(taste: Taste) -> list[dict[str, object]]:
            draws = lambda names: draw(db, names, view.from_ms, view.until_ms, 2)  # noqa: E731
            found: list[dict[str, object]] = drawn_values(db, site, view, taste, draws)["panels"]
            return found

        si, us = values(Taste()), values(Taste(temperature="°F", pressure="psi"))
    assert [each["unit"] for each in us[:3]] == ["°F", "°F", "%RH"] and us[5]["unit"] == "psi"
    margin = [panels_[0]["lines"][0]["mean"][1] for panels_ in (si, us)]
    steel = [panels_[1]["lines"][0]["mean"][1] for panels_ in (si, us)]
    assert margin[1] == pytest.approx(1.8 * margin[0], abs=0.02)
    assert steel[1] == pytest.approx(1.8 * steel[0] + 32, abs=0.02)
    assert us[0]["limits"][0]["value"] == pytest.approx(5.4)
    assert us[5]["lines"][0]["mean"][1] == pytest.approx(si[5]["lines"][0]["mean"][1] * 14.503774, abs=0.02)


def test_the_dew_point_is_known_only_where_steel_and_margin_are(home: Path) -> None:
    """Two minutes of steel and one of margin are one minute of dew point; its gap is counted by that."""
    steel = "A|steel_temperature|steel (coldest)"
    both = {
        steel: Drawn(NOW_MS - 120_000, 60_000, [20.0] * 2, [20.0] * 2, [20.0] * 2, [1, 1], [60_000, 60_000]),
        MARGIN: Drawn(NOW_MS - 120_000, 60_000, [5.0, None], [5.0, None], [5.0, None], [1, 0], [60_000, 0]),
    }
    view = View("A", NOW_MS - 120_000, NOW_MS, NOW_MS)
    with closing(open_reader(home / "journal.db")) as db:
        found = drawn_values(db, the_site(), view, Taste(), lambda _: both)
    point = found["panels"][1]["lines"][1]
    assert (point["mean"], point["known"]) == ([15.0, None], [1000, 0])
    assert point["gaps"] == {"count": 1, "total_s": 60, "longest_s": 60, "of_s": 120}


def test_a_jobsite_changed_in_the_range_gives_each_limit_its_time(tmp_path: Path) -> None:
    """The old limit until the change, the new one from it on."""
    from gateway import entry
    from gateway.entry import Kind
    from gateway.flow_state import Outcomes
    from gateway.payload import canonical
    from tests.sites import margin_limit, site

    sites = [site(margin_limit(threshold=each)) for each in (3.0, 5.0)]
    began = NOW_MS - 10 * HOUR_MS
    made = [
        entry.plain(Kind.STARTED, began, canonical.to_bytes({"offset_ms": 0})),
        entry.plain(Kind.CONFIG_SET, began, canonical.config_set(sites[0], "k", "w")),
        entry.plain(Kind.CONFIG_SET, began + 4 * HOUR_MS, canonical.config_set(sites[1], "k", "w")),
    ]
    with closing(Journal(tmp_path / "journal.db")) as book:
        book.commit(1, made, 1, Outcomes(), 0)
        view = View("A", NOW_MS - 8 * HOUR_MS, NOW_MS, NOW_MS)
        limits = drawn_values(book.db, sites[1], view, Taste(), lambda _: {})["panels"][0]["limits"]
    change = began + 4 * HOUR_MS
    assert [(each["value"], each["from"], each["until"]) for each in limits] == [
        (3.0, view.from_ms, change), (5.0, change, NOW_MS),
    ]  # fmt: skip


def test_the_minutes_come_from_the_entries(month: Pages) -> None:
    """Narrow columns by a process of its own; only for a day."""
    answer = month.ask("GET", f"/history/data?place=A&{LIVE}&columns=360&fine=1")
    assert answer.json()["tier"] == "the entries" and answer.json()["each"] == 5000
    steel = next(each for each in answer.json()["panels"][1]["lines"] if each["label"].startswith("steel"))
    assert sum(each is not None for each in steel["mean"]) > 170
    long = "from=2026-07-01T00:00Z&until=2026-07-03T00:00Z"
    refused = month.ask("GET", f"/history/data?place=A&{long}&fine=1", headers={"accept": "application/json"})
    assert (refused.status_code, refused.json()["error"]) == (400, "The entries are worked out for a day at most.")


def test_a_file_holds_readings_and_columns(home: Path, month: Pages) -> None:
    """CSV, Parquet and SenML of half an hour: the same readings as the entries hold, with their numbers."""
    with closing(open_reader(home / "journal.db")) as db:
        said = list(raw(db, NOW_MS - 2_400_000, NOW_MS - 600_000))
    answer = month.ask("GET", f"/history/file.csv?place=A&{LIVE}")
    assert answer.headers["content-type"] == "text/csv; charset=utf-8"
    assert answer.headers["content-disposition"] == 'attachment; filename="history-A-2026-07-13.csv"'
    rows = list(csv.DictReader(io.StringIO(answer.text, newline="")))
    assert tuple(rows[0]) == COLUMNS and answer.text.count("\r\n") == len(rows) + 1
    readings = [row for row in rows if row["kind"] == "reading"]
    assert [(int(row["entry"]), row["channel"], float(row["value"])) for row in readings] == [
        (each.seq, each.sensor, each.value) for each in said
    ]
    assert {row["unit"] for row in readings if row["channel"] == "steel"} == {"Cel"}
    columns = [row for row in rows if row["kind"] == "column" and row["channel"] == MARGIN]
    assert len(columns) == 2 and all(float(row["known_s"]) > 800 for row in columns)
    packed = month.ask("GET", f"/history/file.parquet?place=A&{LIVE}")
    table = parquet.read_table(io.BytesIO(packed.content)).to_pylist()
    assert len(table) == len(rows)
    assert table[0]["from_utc"].isoformat() == readings[0]["from_utc"].replace("Z", "+00:00").replace(".000", "")
    senml = month.ask("GET", f"/history/file.senml?place=A&{LIVE}").json()
    first = readings[0]
    assert senml[0] == {
        "n": f"dewgate:{first['channel']}", "t": datetime.fromisoformat(first["from_utc"]).timestamp(),
        "u": first["unit"], "v": float(first["value"]),
    }  # fmt: skip
    assert {"dewgate:A/dew_point_margin/steel--coldest-/mean"} <= {each["n"] for each in senml}


def test_a_long_file_has_columns_only(month: Pages) -> None:
    """A month is quarters of an hour, not millions of readings."""
    text = month.ask("GET", "/history/file.csv?place=T1&from=2026-06-20T00:00Z&until=2026-06-30T00:00Z").text
    rows = list(csv.DictReader(io.StringIO(text, newline="")))
    assert {row["kind"] for row in rows} == {"column"}
    assert sum(row["channel"] == "line-p" for row in rows) == 10 * 96


def test_the_entries_behind_a_minute_with_their_leaves(home: Path, month: Pages) -> None:
    """Numbers for a program; for a person what they say, the leaf hash of RFC 6962 and the bytes."""
    asked = "/history/entries?place=A&at=2026-07-13T12:00:30Z"
    numbers = month.ask("GET", asked, headers={"accept": "application/json"}).json()["entries"]
    assert len(numbers) == 48 and numbers == list(range(numbers[0], numbers[0] + 48))
    page = month.ask("GET", asked).text
    with closing(open_reader(home / "journal.db")) as db:
        made = entry_at(db, numbers[0])
    assert made is not None
    assert tree.leaf(made).hex() in page and f'id="entry-{numbers[0]}"' in page
    assert (
        "steel: 22" in page
        and "°C, good, measured 0.2 s before" in page
        and "dewgate/test/air-t" in page
        and made[:10].hex(" ") in page
    )


@pytest.mark.parametrize(
    ("path", "status", "words"),
    [
        ("/history?from=yesterday", 400, "'yesterday' is no time such as 2026-07-13T12:40Z."),
        ("/history?from=2026-07-02&until=2026-07-01", 400, "The range must end after it begins"),
        ("/history/data?from=2020-07-02&until=2026-07-01", 400, "no longer than two years"),
        ("/history/file.xlsx?from=2026-07-01&until=2026-07-02", 404, "There is no xlsx of this; csv, parquet"),
        ("/history/entries?at=now", 400, "'now' is no time"),
    ],
)
def test_what_makes_no_sense_is_refused_with_words(month: Pages, path: str, status: int, words: str) -> None:
    """In words a person can act on."""
    answer = month.ask("GET", path, headers={"accept": "application/json"})
    assert answer.status_code == status and words in answer.json()["error"]


def test_a_gateway_without_a_journal_or_jobsite_says_so(tmp_path: Path) -> None:
    """The page is there; its data are refused."""
    empty = Pages(Stage(tmp_path, None, the_site()).app())
    assert empty.ask("GET", "/history").status_code == 200
    answer = empty.ask("GET", f"/history/data?{DAY}", headers={"accept": "application/json"})
    assert (answer.status_code, answer.json()["error"]) == (404, "This gateway has no journal yet.")


def test_places_and_panels_of_a_site_without_trains() -> None:
    """An area alone has its three panels, empty where nothing is known."""
    bare = replace(the_site(), trains=())
    assert places(bare) == {"A": "Area A, shell"}
    found = panels(bare, "A", [], Taste())
    assert [(each.id, each.lines) for each in found] == [
        ("dew_point_margin", ()), ("steel_temperature", ()), ("relative_humidity", ()),
    ]  # fmt: skip


def test_files_are_packed_for_those_who_unpack(month: Pages) -> None:
    """The same script, a quarter as long, with one tag; and plain for others."""
    plain = month.ask("GET", "/static/history.js", headers={"accept-encoding": "identity"})
    packed = month.ask("GET", "/static/history.js", headers={"accept-encoding": "gzip"})
    assert packed.headers["content-encoding"] == "gzip" and packed.text == plain.text
    assert int(packed.headers["content-length"]) < 0.4 * int(plain.headers["content-length"])
    assert packed.headers["content-type"] == plain.headers["content-type"]
    assert "Accept-Encoding" in plain.headers["vary"] and packed.headers["etag"] == plain.headers["etag"]
    again = month.ask("GET", "/static/history.js", headers={"if-none-match": plain.headers["etag"]})
    assert again.status_code == 304
    data = month.ask("GET", f"/history/data?place=A&{DAY}", headers={"accept-encoding": "gzip"})
    assert data.headers["content-encoding"] == "gzip" and json.loads(data.text)["panels"]


def test_a_minute_somebody_names_is_looked_at_in_site_time(month: Pages) -> None:
    """Six hours to both sides of four in the afternoon in Oslo, the cursor on it; what is no time is refused."""
    page = month.ask("GET", "/history?place=T1&at=2026-07-12T16:00").text
    at_ms = NOW_MS - 22 * HOUR_MS - 40 * 60_000  # 2026-07-12 14:00 UTC
    assert f'data-at="{at_ms}"' in page
    assert f'data-from="{at_ms - 6 * HOUR_MS}" data-until="{at_ms + 6 * HOUR_MS}"' in page
    assert 'value="2026-07-12T16:00"' in page
    refused = month.ask("GET", "/history?at=yesterday", headers={"accept": "application/json"})
    assert (refused.status_code, refused.json()["error"][:14]) == (400, "Write the time")


def test_a_young_record_is_not_a_month_of_nothing(home: Path, month: Pages) -> None:
    """Without a range the view begins with the record, a month ago at most and six hours at least."""
    assert f'data-from="{NOW_MS - 30 * 24 * HOUR_MS}"' in month.ask("GET", "/history").text
    began = NOW_MS - 30 * 24 * HOUR_MS
    for now, since in ((began + 72 * HOUR_MS, began - 40 * 60_000), (began, began - 6 * HOUR_MS)):
        young = Pages(Stage(home, replace(BOARD, utc_ms=now), the_site()).app())
        assert f'data-from="{since}"' in young.ask("GET", "/history").text


def test_the_same_in_spanish_with_the_reader_s_units(month: Pages) -> None:
    """Titles, activities and limits are translated where the gateway makes them; channels keep their names."""
    month.send("/account/taste", language="es", flow="cfm")
    data = month.ask("GET", "/history/data?place=A&from=2026-07-01T10:00Z&until=2026-07-08T10:00Z").json()
    first = data["panels"][0]
    assert (first["title"], first["limits"][0]["label"]) == ("Margen sobre el punto de rocío", "al menos 3")
    assert [line["label"] for line in data["panels"][1]["lines"] if line["point"]] == ["punto de condensación"]
    assert {each["activity"] for each in data["activities"]} == {"chorreado"}
    assert "Las entradas detrás de {}" in month.ask("GET", "/history").text
    refused = month.ask(
        "GET", "/history/data?from=2026-07-02&until=2026-07-01", headers={"accept": "application/json"}
    )
    assert refused.json()["error"].startswith("El intervalo debe terminar")
