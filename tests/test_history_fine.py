"""History from the entries: found by time in blocks and rows, read as then, summed as the quarters are."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import closing
from pathlib import Path

import pytest

from alerts.measured import Validity
from gateway import entry
from gateway.adapters import landmarks
from gateway.adapters.history import draw
from gateway.adapters.history_fine import AFTER_MS, draw_fine, raw
from gateway.adapters.journal import Damaged, Journal, open_reader, pack_oldest
from gateway.adapters.spans import entries_between, entry_at
from gateway.entry import Arrival, Kind
from gateway.flow_state import Outcomes
from gateway.payload import canonical
from gateway.tiers import QUARTER_MS, Sheet
from gateway.tree import SEAL
from tests.sites import T0, margin_limit, pack, site
from tests.test_flow import Day, values

HOUR = 3_600_000
STEP = 7 * HOUR
SILENT = range(100, 130)
QUARTER = T0 - T0 % QUARTER_MS + QUARTER_MS
TRAIN = {"dryer_t": 30.0, "dryer_rh": 20.0, "line_p": 7.0, "pot_skin": 22.0}
DERIVED = "A|dew_point_margin|steel (coldest)"


class Home:
    """A journal of four hours, two blocks of it sealed, with what its writer knew beside it."""

    def __init__(self, folder: Path) -> None:
        self.path, self.day, self.at = folder / "journal.db", Day(margin_limit()), 0
        self.book = Journal(self.path)
        for minute in range(240):
            more = {"steel": 20.0 + 0.01 * minute, "air_t": 20.0 + 0.02 * (minute % 60)}
            if minute in SILENT:
                self.day.now += 60_000
                self.day.put(Kind.HEARTBEAT, {})
            else:
                self.day.pass_time(60, **values(**TRAIN, **more))
            self.commit()
        while packed := pack_oldest(self.path):
            self.book.seal(packed)
        self.book.close()

    def commit(self) -> None:
        entries, first = self.day.entries[self.at :], self.at + 1
        self.book.commit(first, entries, 1, Outcomes(sheet=self.day.out.sheet), 0)
        self.at, self.day.out.sheet = len(self.day.entries), Sheet()


@pytest.fixture(scope="module")
def home(tmp_path_factory: pytest.TempPathFactory) -> Home:
    return Home(tmp_path_factory.mktemp("home"))


@pytest.fixture
def reader(home: Home) -> Iterator[object]:
    with closing(open_reader(home.path)) as db:
        yield db


def test_entries_are_found_by_their_time(home: Home, reader) -> None:  # type: ignore[no-untyped-def]
    """Across block, blocks and rows, hot rows only, all and none: the same as a look at every entry."""
    timed = [(seq, made, entry.kind_and_time(made)[1]) for seq, made in enumerate(home.day.entries, 1)]
    seam, end = timed[SEAL - 1][2], timed[-1][2]
    assert end > timed[2 * SEAL][2]
    for low, high in (
        (seam - 60_000, seam + 60_000), (seam, seam + 1), (end - 600_000, end), (0, end + 1), (end + 1, end + 9),
        (0, T0), (T0, T0 + 1), (timed[2 * SEAL - 1][2], end),
    ):  # fmt: skip
        expected = [(seq, made) for seq, made, core_ms in timed if low <= core_ms < high]
        assert list(entries_between(reader, low, high)) == expected
    for seq in (1, SEAL, SEAL + 1, 2 * SEAL + 1, len(timed)):
        assert entry_at(reader, seq) == home.day.entries[seq - 1]
    assert entry_at(reader, len(timed) + 1) is None


def test_a_hole_is_not_passed_over_but_a_dropped_body_is(home: Home, tmp_path: Path) -> None:
    """A missing block is damage; one whose body retention dropped is only not there."""
    copy = tmp_path / "journal.db"
    copy.write_bytes(home.path.read_bytes())
    with closing(Journal(copy)) as book:
        book.db.execute("UPDATE sealed SET body = NULL WHERE first_seq = 1")
        found = [seq for seq, _ in entries_between(book.db, 0, 1 << 60)]
        assert found == list(range(SEAL + 1, len(home.day.entries) + 1))
        assert entry_at(book.db, 5) is None
        book.db.execute("UPDATE sealed SET body = x'00' WHERE first_seq = ?", (SEAL + 1,))
        with pytest.raises(Damaged, match=rf"entries {SEAL + 1} to {2 * SEAL}: .*cannot be read"):
            list(entries_between(book.db, 0, 1 << 60))
        book.db.execute("DELETE FROM sealed WHERE first_seq = 1")
        with pytest.raises(Damaged, match="block at entry 1 is missing"):
            list(entries_between(book.db, 0, 1 << 60))


@pytest.mark.parametrize("quarter", [2, 5, 6, 8])
def test_finer_columns_add_up_to_the_quarters(reader, quarter: int) -> None:  # type: ignore[no-untyped-def]
    """Sensors and derived values, with half an hour of silence in between: to the millionth and millisecond."""
    names = ["steel", "air-rh", "pot-skin", DERIVED, "T1/pot|condensation_margin|pot"]
    from_ms = QUARTER + quarter * QUARTER_MS
    wide = draw(reader, names, from_ms, from_ms + QUARTER_MS, 1)
    fine = draw_fine(reader, names, from_ms, from_ms + QUARTER_MS, 2000)
    assert set(names) == wide.keys() == fine.keys()
    for name, columns in fine.items():
        assert (columns.from_ms, columns.each_ms, len(columns.mean)) == (from_ms, 1000, 900)
        lows = [each for each in columns.low if each is not None]
        highs = [each for each in columns.high if each is not None]
        assert sum(columns.weight) == wide[name].weight[0]
        assert sum(columns.known_ms) == wide[name].known_ms[0]
        assert [min(lows, default=None), max(highs, default=None)] == [wide[name].low[0], wide[name].high[0]]


def test_derived_values_are_worked_out_once_a_column(reader) -> None:  # type: ignore[no-untyped-def]
    """So that a day takes no longer than an hour; what a column shows is what stood when it ended."""
    steel, margin = "steel", DERIVED
    fine = draw_fine(reader, [steel, margin], QUARTER + HOUR, QUARTER + HOUR + 600_000, 10)
    assert fine[margin].each_ms == 60_000 and fine[steel].weight == [6] * 10
    assert fine[margin].low == fine[margin].high and None not in fine[margin].mean
    exact = draw_fine(reader, [margin], QUARTER + HOUR, QUARTER + HOUR + 600_000, 600)[margin]
    for at in range(1, 10):  # drawn in a column is what stood at its beginning
        assert fine[margin].mean[at] == exact.mean[60 * at]


def test_finer_columns_are_a_second_wide_at_least_and_a_day_at_most(reader) -> None:  # type: ignore[no-untyped-def]
    """What a limit is judged on is a second; more than a day comes from the quarters."""
    fine = draw_fine(reader, ["steel"], QUARTER, QUARTER + 60_000, 1000)["steel"]
    assert (fine.each_ms, len(fine.mean), sum(fine.weight)) == (1000, 60, 6)
    for span in ((QUARTER, QUARTER), (QUARTER, QUARTER + 25 * HOUR)):
        with pytest.raises(ValueError, match="not a range of up to a day"):
            draw_fine(reader, ["steel"], *span, 10)
        with pytest.raises(ValueError, match="not a range of up to a day"):
            list(raw(reader, *span))
    assert draw_fine(reader, ["nobody"], QUARTER, QUARTER + 1000, 10) == {}


def test_readings_come_with_their_entry_as_sent_and_corrected(home: Home, reader) -> None:  # type: ignore[no-untyped-def]
    """Every reading of ten minutes, in the order of the entries; only those of the sensors asked for."""
    span = (QUARTER + HOUR, QUARTER + HOUR + 600_000)
    found = list(raw(reader, *span))
    assert len(found) == 60 * len(values(**TRAIN))
    assert [each.seq for each in found] == sorted(each.seq for each in found)
    for each in found[::37]:
        arrival = entry.message_of(entry.body_of(home.day.entries[each.seq - 1]))
        assert arrival.topic == f"dewgate/test/{each.sensor}"
        assert arrival.payload == pack(each.sensor, _sent(each), each.measured_ms)
        assert each.measured_ms == each.received_ms and each.validity is Validity.GOOD
    assert {each.sensor for each in raw(reader, *span, frozenset({"steel"}))} == {"steel"}


def _sent(said) -> float:  # type: ignore[no-untyped-def]
    written = {"air-rh": 0.01, "dryer-rh": 0.01, "baro": 100.0, "line-p": 1e5}
    return round(said.value / written.get(said.sensor, 1.0), 6)


def small(folder: Path, *entries: bytes) -> Journal:
    """A journal of these entries only."""
    book = Journal(folder / "journal.db")
    book.commit(1, entries, 1, Outcomes(), 0)
    return book


def put(kind: Kind, core_ms: int, **body: object) -> bytes:
    return entry.plain(kind, core_ms, canonical.to_bytes(body))


def test_a_range_of_utc_follows_the_steps_of_the_clock(tmp_path: Path) -> None:
    """Seven hours are added in between: the same UTC is found by the offset that held then."""
    config = entry.plain(Kind.CONFIG_SET, T0, canonical.config_set(site(), "keeper", "test"))
    step = put(Kind.CLOCK_STEP, T0 + HOUR, old_offset_ms=0, new_offset_ms=STEP, cause="test")
    said = [(T0 + 60_000, None), (T0 + HOUR + 60_000, None), (T0 + 2 * HOUR, T0 + 60_000)]
    messages = [
        entry.message(Arrival("dewgate/test/steel", pack("steel", 20.0 + n, measured)), core_ms)
        for n, (core_ms, measured) in enumerate(said)
    ]
    started = put(Kind.STARTED, T0, offset_ms=0)
    with closing(small(tmp_path, started, config, messages[0], step, *messages[1:])) as book:
        first = list(raw(book.db, T0, T0 + HOUR))
        assert [(each.seq, each.measured_ms, each.value) for each in first] == [(3, T0 + 60_000, 20.0)]
        later = list(raw(book.db, T0 + STEP + HOUR, T0 + STEP + 2 * HOUR))
        assert [(each.seq, each.received_ms) for each in later] == [(5, T0 + STEP + HOUR + 60_000)]
        time = landmarks.clocks(book.db)
        assert [time.utc_ms(T0 + each) for each in (-1, 0, HOUR - 1, HOUR)] == [
            T0 - 1, T0, T0 + HOUR - 1, T0 + HOUR + STEP,
        ]  # fmt: skip
        assert time.core_span(T0 + HOUR, T0 + HOUR + STEP) == (0, 0)  # UTC jumped over it


def test_a_reading_is_corrected_by_the_jobsite_in_force_then(tmp_path: Path) -> None:
    """A calibration entered in the middle holds from there on; what came late is not looked for."""
    from dataclasses import replace

    from gateway.jobsite import Calibration

    one = site()
    changed = replace(one.sensors[3], calibration=Calibration(correction=0.5))
    other = replace(one, sensors=(*one.sensors[:3], changed, *one.sensors[4:]))
    configs = [canonical.config_set(each, "keeper", "test") for each in (one, other)]
    message = Arrival("dewgate/test/steel", pack("steel", 20.0, T0 + 2000))
    late = T0 + HOUR + AFTER_MS
    entries = [
        put(Kind.STARTED, T0, offset_ms=0), entry.plain(Kind.CONFIG_SET, T0, configs[0]),
        entry.message(message, T0 + 2000), entry.plain(Kind.CONFIG_SET, T0 + 3000, configs[1]),
        entry.message(message, T0 + 4000), entry.message(message, late),
    ]  # fmt: skip
    with closing(small(tmp_path, *entries)) as book:
        found = list(raw(book.db, T0, T0 + HOUR))
        assert [(each.seq, each.value, each.corrected) for each in found] == [(3, 20.0, 20.0), (5, 20.0, 20.5)]
        assert landmarks.config_at(book.db, T0 + 2999) == configs[0]
        assert landmarks.config_at(book.db, T0 + 3000) == configs[1]
        assert landmarks.config_at(book.db, T0 - 1) == configs[0]
        kinds = [row[0] for row in book.db.execute("SELECT kind FROM landmarks ORDER BY seq")]
        assert kinds == [Kind.STARTED, Kind.CONFIG_SET, Kind.CONFIG_SET]


def test_landmarks_of_an_older_journal_are_found_once(home: Home, tmp_path: Path) -> None:
    """From blocks and rows, the same as were written with the entries."""
    copy = tmp_path / "journal.db"
    copy.write_bytes(home.path.read_bytes())
    with closing(Journal(copy)) as book:
        kept = book.db.execute("SELECT * FROM landmarks").fetchall()
        assert [row[:2] for row in kept] == [(1, Kind.STARTED), (2, Kind.CONFIG_SET)]
        book.db.execute("DELETE FROM landmarks")
        landmarks.catch_up(book.db)
        assert book.db.execute("SELECT * FROM landmarks").fetchall() == []
        book.db.execute("DELETE FROM cursors WHERE name = 'landmarks'")
        landmarks.catch_up(book.db)
        assert book.db.execute("SELECT * FROM landmarks").fetchall() == kept
