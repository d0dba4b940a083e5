"""A folder of studies: the same rows whoever works them out, none lost, none redone."""

from __future__ import annotations

import csv
import dataclasses
import json
import os
import signal
import subprocess
import sys
import time
import warnings
from collections.abc import Iterator
from pathlib import Path

import pytest

from capex.decision.risk import finished_rows, many_studies, workers
from capex.decision.risk.finished_rows import FinishedRows, figures_version, write_whole
from capex.decision.risk.many_studies import ManyStudies, study_files, write_table
from capex.decision.risk.simulation import simulate
from capex.decision.risk.study_rows import COLUMNS, Row, study_rows
from capex.decision.risk.summary import risk_summary
from capex.errors import InputError, StoreError
from capex.study import StudyFile, data_folder

DRAWS = 32


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Three studies, one of them in a folder of its own, and two files that are none."""
    place = tmp_path_factory.mktemp("studies")
    fill(place, 3)
    (place / "north").mkdir()
    (place / "study_2.toml").rename(place / "north" / "study_2.toml")
    (place / "broken.toml").write_text("shop_name = \n", encoding="utf-8")
    (place / "latin.toml").write_bytes("shop_name = 'Größe'".encode("latin-1"))
    return place


def fill(place: Path, count: int) -> None:
    """Write studies that differ in a wage."""
    file = StudyFile.read(data_folder() / "studies" / "quenlow.toml")
    for k in range(count):
        wage = {"low": f"{18 + k} USD/h", "likely": f"{22 + k} USD/h", "high": f"{28 + k} USD/h"}
        file.changed({"shop.people.wage": wage}).write(place / f"study_{k}.toml")


def table(folder: Path, kept: Path, **how: object) -> list[Row]:
    studies = ManyStudies(folder, DRAWS, kept)
    *_, last = studies.run(**how)  # type: ignore[arg-type]
    assert last.done == last.total == 5
    return studies.table()


@pytest.fixture(scope="module")
def one_by_one(folder: Path) -> list[Row]:
    """Rows of each file worked out alone in this process."""
    return [
        {"file": path.relative_to(folder).as_posix(), **row}
        for path in study_files(folder)
        for row in study_rows(path.read_bytes(), DRAWS, None)[0]
    ]


@pytest.fixture(scope="module")
def by_joblib(folder: Path, tmp_path_factory: pytest.TempPathFactory) -> list[Row]:
    return table(folder, tmp_path_factory.mktemp("joblib"), jobs=2)


def test_against_one_study_at_a_time(one_by_one: list[Row], by_joblib: list[Row]) -> None:
    """Two processes, their rows written and read back: every figure equal to the last bit."""
    assert len(one_by_one) == 3 * 4 + 2
    assert by_joblib == one_by_one


def test_against_the_summary_of_a_simulation(folder: Path, by_joblib: list[Row]) -> None:
    study = StudyFile.read(folder / "study_1.toml").study
    said = risk_summary(simulate(study, DRAWS))
    rows = [row for row in by_joblib if row["file"] == "study_1.toml"]
    for row, choice in zip(rows, said.choices, strict=True):
        assert row["alternative"] == choice.key
        assert (row["gain_p5"], row["gain_p50"], row["gain_p95"]) == choice.gain
        assert row["chance_best"] == choice.best.value
        assert row["regret_mean_error"] == choice.regret.error
        assert row["worst_cash_p5"] == choice.worst_cash[0]
        assert row["knowing_everything"] == said.knowing_everything.value
    assert rows[0]["payback_p50_years"] is None
    assert "baseline" in str(rows[0]["notes"])


@pytest.fixture(scope="module")
def scheduler() -> Iterator[str]:
    """The address of a Dask scheduler with two worker processes on this machine's loopback."""
    distributed = pytest.importorskip("dask.distributed")
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        cluster = distributed.LocalCluster(
            n_workers=2, threads_per_worker=1, processes=True, host="127.0.0.1",
            dashboard_address=None,
        )  # fmt: skip
    try:
        assert cluster.scheduler_address.startswith("tcp://127.0.0.1:")
        yield cluster.scheduler_address
    finally:
        cluster.close()


@pytest.mark.filterwarnings("default")
def test_against_a_cluster_of_two_workers(
    folder: Path, by_joblib: list[Row], scheduler: str, tmp_path: Path
) -> None:
    assert table(folder, tmp_path, dask=scheduler) == by_joblib


@pytest.mark.filterwarnings("default")
def test_a_cluster_with_other_versions_is_refused(
    folder: Path, scheduler: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    studies = ManyStudies(folder, DRAWS, tmp_path)
    monkeypatch.setattr("capex.decision.risk.finished_rows.version", lambda name: "99")
    with pytest.raises(InputError, match=r"dask: .* must have capex 99"):
        list(studies.run(dask=scheduler))


@pytest.mark.filterwarnings("default")
def test_a_cluster_that_does_not_answer_is_refused(
    folder: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    pytest.importorskip("dask.distributed")
    monkeypatch.setattr(workers, "_ANSWERS_WITHIN", 0.5)
    with pytest.raises(InputError, match="no scheduler that answers"):
        list(ManyStudies(folder, DRAWS, tmp_path).run(dask="tcp://127.0.0.1:9"))


def test_files_that_are_no_studies_are_rows_with_the_reason(by_joblib: list[Row]) -> None:
    reasons = {row["file"]: row["reason"] for row in by_joblib if row["state"] == "not appraised"}
    assert set(reasons) == {"broken.toml", "latin.toml"}
    assert "TOML" in str(reasons["broken.toml"])
    assert reasons["latin.toml"] == "is not UTF-8 text"


def test_a_file_that_cannot_be_read_is_a_row_and_tried_again(folder: Path, tmp_path: Path) -> None:
    place = tmp_path / "studies"
    place.mkdir()
    (place / "gone.toml").symlink_to(place / "nowhere.toml")
    (place / "folder.toml").mkdir()
    fill(place, 1)
    for _ in range(2):
        studies = ManyStudies(place, 32, tmp_path / "kept")
        list(studies.run(jobs=1))
        rows = studies.table()
        assert [row["file"] for row in rows[:2]] == ["folder.toml", "gone.toml"]
        assert all("cannot be read" in str(row["reason"]) for row in rows[:2])
        assert len(rows) == 2 + 4
        assert len(list((tmp_path / "kept").glob("*.json"))) == 1


def test_a_study_that_fails_ends_no_run_and_is_tried_again(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    fill(tmp_path, 2)
    first = (tmp_path / "study_0.toml").read_bytes()

    def failing(content: bytes, count: int, seed: int | None) -> tuple[list[Row], bool]:
        if content == first:
            monkeypatch.setattr("capex.decision.risk.study_rows.simulate", None)
            try:
                return study_rows(content, count, seed)
            finally:
                monkeypatch.undo()
        return study_rows(content, count, seed)

    studies = ManyStudies(tmp_path, 32, tmp_path / "kept")
    with monkeypatch.context() as patched:
        patched.setattr(many_studies, "study_rows", failing)
        list(studies.run(jobs=1))
    states = {row["file"]: row["state"] for row in studies.table()}
    assert states == {"study_0.toml": "failed", "study_1.toml": "appraised"}
    again = ManyStudies(tmp_path, 32, tmp_path / "kept")
    assert [step.done for step in again.run(jobs=1)] == [1, 2]
    assert {row["state"] for row in again.table()} == {"appraised"}


def test_equal_files_are_appraised_once(tmp_path: Path) -> None:
    fill(tmp_path, 1)
    (tmp_path / "twin.toml").write_bytes((tmp_path / "study_0.toml").read_bytes())
    studies = ManyStudies(tmp_path, 32, tmp_path / "kept")
    assert [step.done for step in studies.run(jobs=1)] == [0, 1, 2]
    rows = studies.table()
    assert [row["file"] for row in rows] == ["study_0.toml"] * 4 + ["twin.toml"] * 4
    assert len(list((tmp_path / "kept").iterdir())) == 1


def test_every_setting_has_rows_of_its_own(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    keys = {
        FinishedRows(tmp_path, count, seed).key(content)
        for count in (32, 64)
        for seed in (None, 1, 2)
        for content in (b"one", b"other")
    }
    assert len(keys) == 12
    same = FinishedRows(tmp_path, 32, 1)
    assert same.key(b"one") in keys
    monkeypatch.setattr("capex.decision.risk.finished_rows.version", lambda name: "99")
    assert same.key(b"one") not in keys


def test_a_change_of_the_sources_is_another_version(tmp_path: Path) -> None:
    """Of what makes figures: a change of a page, or of a compiled file, leaves rows as they are."""
    for name in ("errors.py", "finance/loans.py", "views/chart.py", "finance/loans.pyc"):
        (tmp_path / name).parent.mkdir(exist_ok=True)
        (tmp_path / name).write_text("1\n", encoding="utf-8")

    def digest() -> str:
        finished_rows._sources_digest.cache_clear()
        return finished_rows._sources_digest(tmp_path)

    first = digest()
    for name in ("views/chart.py", "finance/loans.pyc"):
        (tmp_path / name).write_text("2\n", encoding="utf-8")
        assert digest() == first
    (tmp_path / "finance" / "loans.py").write_text("2\n", encoding="utf-8")
    second = digest()
    (tmp_path / "finance" / "loans.py").rename(tmp_path / "finance" / "lending.py")
    assert len({first, second, digest()}) == 3


def test_rows_and_workers_are_compared_by_the_sources(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    same = FinishedRows(tmp_path, 32, 1)
    before, version = same.key(b"one"), figures_version()
    monkeypatch.setattr(finished_rows, "_sources_digest", lambda package: "other")
    assert same.key(b"one") != before

    class Cluster:
        def run(self, asked: object) -> dict[str, str]:
            return {"tcp://127.0.0.1:1": version}

    with pytest.raises(InputError, match=r"must have capex .* \(sources other\)"):
        workers._check_versions(Cluster(), "tcp://127.0.0.1:8786")
    monkeypatch.undo()
    workers._check_versions(Cluster(), "tcp://127.0.0.1:8786")


@pytest.mark.parametrize(
    "content", [b"", b"{", b"[]", b'{"key": "other", "rows": [{}]}', b'{"key": "k", "rows": []}']
)
def test_rows_that_are_not_whole_count_as_not_there(tmp_path: Path, content: bytes) -> None:
    kept = FinishedRows(tmp_path, 32, None)
    kept.write("k", [{"name": "as written", "gain_mean": 0.1 + 0.2}])
    assert kept.read("k") == [{"name": "as written", "gain_mean": 0.1 + 0.2}]
    (tmp_path / "k.json").write_bytes(content)
    assert kept.read("k") is None
    with pytest.raises(StoreError, match="not finished"):
        kept.needed("k", "study.toml")


def test_what_was_there_stays_when_writing_fails(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    place = tmp_path / "table.csv"
    write_whole(place, b"before")

    def full(handle: int) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "fsync", full)
    with pytest.raises(StoreError, match="No space left"):
        write_whole(place, b"after")
    assert place.read_bytes() == b"before"
    assert [path.name for path in tmp_path.iterdir()] == ["table.csv"]


def test_the_table_reads_back_to_the_last_bit(by_joblib: list[Row], tmp_path: Path) -> None:
    place = tmp_path / "table.csv"
    write_table(by_joblib, place)
    with place.open(encoding="utf-8-sig", newline="") as lines:
        found = list(csv.DictReader(lines))
    assert list(found[0]) == ["file", *COLUMNS]
    assert len(found) == len(by_joblib)
    for read, row in zip(found, by_joblib, strict=True):
        for name, cell in row.items():
            assert (float(read[name]) if isinstance(cell, float) else read[name]) == (
                "" if cell is None else cell if isinstance(cell, float) else str(cell)
            )


@pytest.mark.parametrize("text", ["=1+1", "+1", "-1", "@sum(a1)", "\t=1", "\r=1"])
def test_no_text_is_a_formula_of_a_spreadsheet(tmp_path: Path, text: str) -> None:
    """Common practice, no source: a text that begins like a formula gets a ' in front."""
    row: Row = dict.fromkeys(COLUMNS) | {"shop": text, "gain_mean": -1.5}
    write_table([{"file": "a.toml", **row}], tmp_path / "table.csv")
    with (tmp_path / "table.csv").open(encoding="utf-8-sig", newline="") as lines:
        (read,) = csv.DictReader(lines)
    assert read["shop"] == f"'{text}"
    assert read["gain_mean"] == "-1.5"


@pytest.mark.parametrize(
    ("count", "seed", "said"), [(100, None, "draws: 100 must be a power"), (32, -1, "seed: -1")]
)
def test_settings_are_refused_before_any_work(
    folder: Path, tmp_path: Path, count: int, seed: int | None, said: str
) -> None:
    with pytest.raises(InputError, match=said):
        ManyStudies(folder, count, tmp_path, seed)


def test_what_is_no_folder_of_studies_is_refused(folder: Path, tmp_path: Path) -> None:
    with pytest.raises(InputError, match="is not a folder"):
        ManyStudies(folder / "study_0.toml", 32, tmp_path)
    with pytest.raises(InputError, match="has no study file"):
        ManyStudies(tmp_path, 32, tmp_path)
    with pytest.raises(InputError, match="jobs: 0"):
        list(ManyStudies(folder, 32, tmp_path).run(jobs=0))
    with pytest.raises(StoreError, match="cannot be made"):
        ManyStudies(folder, 32, folder / "study_0.toml" / "kept")


@dataclasses.dataclass
class Interrupted:
    """A run by the command line that was ended before it was through."""

    exit_code: int
    output: str
    finished: dict[str, tuple[int, int, bytes]]


COUNT, MANY = 4, 256


def finished(kept: Path) -> dict[str, tuple[int, int, bytes]]:
    return {
        path.name: (path.stat().st_ino, path.stat().st_mtime_ns, path.read_bytes())
        for path in kept.glob("*.json")
    }


def ended(place: Path, out: Path, jobs: int, with_signal: signal.Signals) -> Interrupted:
    """Start a run, end it after its first finished study, and say what is there then."""
    words = ["batch", str(place), "--out", str(out), "--draws", str(MANY), "--jobs", str(jobs)]
    process = subprocess.Popen(
        [sys.executable, "-m", "capex", *words], start_new_session=True,
        stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True,
        # tests that run in the background ignore an interrupt, and would hand that on
        preexec_fn=lambda: signal.signal(signal.SIGINT, signal.SIG_DFL),
    )  # fmt: skip
    kept = out.with_name(f"{out.name}.finished")
    until = time.monotonic() + 300
    while time.monotonic() < until and process.poll() is None and not finished(kept):
        time.sleep(0.01)
    os.killpg(process.pid, with_signal)
    output, _ = process.communicate(timeout=300)
    return Interrupted(process.returncode, output, finished(kept))


@pytest.mark.parametrize(
    ("jobs", "with_signal"), [(1, signal.SIGKILL), (2, signal.SIGKILL), (1, signal.SIGINT)]
)
def test_an_interrupted_run_goes_on_where_it_was(
    tmp_path: Path, jobs: int, with_signal: signal.Signals
) -> None:
    place, out = tmp_path / "studies", tmp_path / "table.csv"
    place.mkdir()
    fill(place, COUNT)
    first = ended(place, out, jobs, with_signal)
    assert first.exit_code == (-9 if with_signal is signal.SIGKILL else 130), first.output
    if with_signal is signal.SIGINT:
        assert "the same command goes on" in " ".join(first.output.split())
    assert 1 <= len(first.finished) < COUNT  # it was ended midway
    assert not out.exists()
    kept = tmp_path / "table.csv.finished"
    studies = ManyStudies(place, MANY, kept)
    steps = [step.done for step in studies.run(jobs=jobs)]
    assert steps == list(range(len(first.finished), COUNT + 1))  # nothing finished is done again
    after = finished(kept)
    assert {name: after[name] for name in first.finished} == first.finished
    assert len(after) == COUNT
    alone = study_rows((place / "study_3.toml").read_bytes(), MANY, None)[0]
    last = [row for row in studies.table() if row["file"] == "study_3.toml"]
    assert last == [{"file": "study_3.toml", **row} for row in alone]
    assert all(json.loads(content)["rows"] for _, _, content in after.values())
