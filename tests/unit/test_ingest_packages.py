"""Exports that a data package describes: read as it declares, or refused with every contradiction."""

import hashlib
import json
from pathlib import Path

import duckdb
import pytest
from frictionless import Package
from ingest_rows import NOW, new_folder, read, store_of, stored

from pipeline.errors import UsageError
from pipeline.ingest.ingest import ingest
from pipeline.ingest.packages.describe import describe
from pipeline.ingest.quarantine import listing
from pipeline.records import TABLES
from pipeline.site_rules import SiteRules
from pipeline.store.layout import open_store
from pipeline.store.settle import settle
from synthetic_logs.generate import write_hospitals

UNITS = {
    "name": "units",
    "path": "u.csv",
    "schema": {"fields": [{"name": "unit_id", "type": "string"}, {"name": "ward", "type": "string"}]},
}
SAMPLES = {
    "name": "usage_samples_north",
    "path": "log.txt",
    "format": "csv",
    "encoding": "windows-1252",
    "dialect": {"csv": {"delimiter": ";", "quoteChar": "'"}},
    "schema": {
        "missingValues": ["", "n/a"],
        "fields": [
            {"name": "Unit_ID", "type": "string"},
            {"name": "sampled_at", "type": "datetime", "format": "%d.%m.%Y %H:%M"},
            {"name": "flow_l_min", "type": "number", "decimalChar": ",", "groupChar": "."},
            {"name": "dew_point_c", "type": "number", "decimalChar": ","},
            {"name": "phase", "type": "string"},
            {"name": "Bemerkung", "type": "string"},
        ],
    },
}
LOG = """Unit_ID;sampled_at;flow_l_min;dew_point_c;phase;Bemerkung
0071;12.03.2026 08:30;30,5;n/a;in_use;'kühl; feucht'
0071;12.03.2026 08:35;40,0;36,9;in_use;
"""


@pytest.fixture
def folder(tmp_path, monkeypatch):
    monkeypatch.setenv("DEWLEDGER_KEY", "0" * 64)
    return new_folder(tmp_path, monkeypatch)


def write_package(folder: Path, *resources: dict) -> Path:
    package = folder / "datapackage.json"
    package.write_text(json.dumps({"resources": resources}))
    return package


def ingested(store_root: Path, exports: Path, paths: list[Path]) -> tuple[list, dict, list]:
    """The account of each file, the rows that stand, and the rows in quarantine."""
    store = open_store(store_root, create=True)
    report = ingest(store, paths, rules_path=exports / "site.toml", now=NOW)
    account = [(file.name, file.table, file.accepted, file.duplicates, file.reasons) for file in report.files]
    with duckdb.connect() as connection:
        settle(connection, store)
        stand = {table: connection.table(f"settled.{table}").order("all").fetchall() for table in TABLES}
    return account, stand, listing(store).rows()


@pytest.fixture(scope="module")
def exports(tmp_path_factory):
    """One month of an invented hospital with its planted faults, beside it the package of its files."""
    folder = tmp_path_factory.mktemp("tarnholt")
    write_hospitals(folder, months=1, units=4)
    north = folder / "TARN-N"
    (north / "datapackage.json").write_bytes(describe(north, SiteRules()))
    return north


def test_by_its_package_an_export_ends_in_the_same_store(exports, folder, tmp_path):
    described, plain = (
        ingested(tmp_path / name, exports, paths)
        for name, paths in (("described", [exports]), ("plain", sorted(exports.glob("*.csv"))))
    )
    assert described == plain


def test_of_single_values_the_library_finds_the_faults_that_are_quarantined(exports, folder, tmp_path):
    _, _, quarantine = ingested(tmp_path / "store", exports, [exports])
    kept_out = {
        (name.removesuffix(".csv").lower(), row)
        for _, name, _, _, row, reasons, *_ in quarantine
        if reasons != "ends_before_start"  # takes two values to see
    }
    found = {
        (task.name, row)
        for task in Package(str(exports / "datapackage.json")).validate().tasks
        for row, kind in task.flatten(["rowNumber", "type"])
        # It also finds keys that stand twice, which to an ingest are duplicates and corrections.
        if kind in ("type-error", "constraint-error")
    }
    assert found == kept_out
    assert kept_out


def test_a_package_declares_the_layout_of_its_file(folder):
    (folder / "log.txt").write_bytes(LOG.encode("cp1252"))
    write_package(folder, SAMPLES)
    (result,) = read(folder).files
    assert (result.table, result.accepted, result.quarantined, result.undeclared_columns) == (
        "usage_samples",
        2,
        0,
        ("Bemerkung",),
    )
    rows = stored(folder, "usage_samples").select("unit_id", "flow_l_min", "dew_point_c").rows()
    assert rows == [("0071", 30.5, None), ("0071", 40.0, 36.9)]


def test_a_package_says_what_true_is_called_and_how_days_are_written(folder):
    fields = [
        {"name": "unit_id"},
        {"name": "started_at", "type": "datetime"},
        {"name": "outcome", "type": "string"},
        {"name": "status_tagged", "type": "boolean", "trueValues": ["Ja"], "falseValues": ["Nein"]},
    ]
    rows = [
        "unit_id started_at outcome status_tagged",
        "u 2026-03-01T09:00 passed Ja",
        "u 2026-03-02T09:00 passed Nein",
    ]
    (folder / "d.tsv").write_text("".join(row.replace(" ", "\t") + "\n" for row in rows))
    census = [
        {"name": "ward"},
        {"name": "counted_on", "type": "date", "format": "%d/%m/%Y"},
        {"name": "patients"},
    ]
    (folder / "w.csv").write_text("ward,counted_on,patients\nAlder,01/03/2026,4\n")
    write_package(
        folder,
        {"name": "disinfections", "path": "d.tsv", "format": "tsv", "schema": {"fields": fields}},
        {"name": "ward_census", "path": "w.csv", "schema": {"fields": census}},
    )
    read(folder)
    assert stored(folder, "disinfections")["status_tagged"].to_list() == [True, False]
    assert str(stored(folder, "ward_census")["counted_on"][0]) == "2026-03-01"


def test_what_a_package_does_not_name_is_read_by_its_own_name(folder):
    (folder / "u.csv").write_text("unit_id,ward\nu1,Alder\n")
    (folder / "units_more.csv").write_text("unit_id\nu2\n")
    package = write_package(folder, UNITS)
    report = read(folder)
    assert sorted(result.name for result in report.files) == ["u.csv", "units_more.csv"]
    assert report.passed_over == ()
    assert [result.name for result in read(folder, package).files] == ["u.csv"]


@pytest.mark.parametrize(
    ("header", "words"),
    [
        ("unit_id,ward,retired_on", "column(s) retired_on, which"),
        ("unit_id", "missing column(s) ward"),
        ("unit_id;ward", "no row"),
    ],
)
def test_a_file_with_other_columns_than_declared_is_refused(folder, header, words):
    (folder / "u.csv").write_text(f"{header}\n{header}\n")
    write_package(folder, UNITS)
    (result,) = read(folder).files
    assert words in result.refused


def fields(*described: dict) -> dict:
    return {"schema": {"fields": list(described)}}


CHANGED = [
    pytest.param({"name": "unit"}, "Did you mean 'units'?", id="unknown table"),
    pytest.param({"path": "https://example.org/u.csv"}, "nothing is fetched", id="address"),
    pytest.param({"path": "../u.csv"}, "leads out of the package's folder", id="folder above"),
    pytest.param({"path": "/etc/hostname"}, "leads out of the package's folder", id="absolute"),
    pytest.param({"path": "link.csv"}, "leads out of the package's folder", id="link"),
    pytest.param({"path": "v.csv"}, "there is no such file", id="absent"),
    pytest.param({"path": ["u.csv", "v.csv"]}, "a resource of its own", id="several files"),
    pytest.param({"path": None, "data": [{"unit_id": 1}]}, "'path' is missing", id="data within"),
    pytest.param({"bytes": 7}, "changed after it was described", id="size"),
    pytest.param({"hash": "sha256:" + "0" * 64}, "changed after it was described", id="hash"),
    pytest.param({"format": "xlsx"}, "'format' is 'xlsx'", id="format"),
    pytest.param({"compression": "gz"}, "unpack the file", id="compression"),
    pytest.param({"encoding": "ebcdic"}, "'encoding' is", id="encoding"),
    pytest.param({"dialect": "d.json"}, "'dialect' is no object", id="dialect elsewhere"),
    pytest.param({"dialect": {"delimeter": ";"}}, "Did you mean 'delimiter'?", id="misspelt"),
    pytest.param({"dialect": {"header": False}}, "'header' is False", id="no header"),
    pytest.param({"dialect": {"commentChar": "#"}}, "'commentChar' is '#'", id="comments"),
    pytest.param({"dialect": {"delimiter": "::"}}, "'delimiter' must be one", id="delimiter"),
    pytest.param({"schema": "s.json"}, "'schema' must stand in the resource", id="schema elsewhere"),
    pytest.param(fields({"name": "ward"}), "no field unit_id", id="required column left out"),
    pytest.param(fields({"name": "unit_id"}, {"name": "Unit_ID"}), "names a field twice", id="twice"),
    pytest.param(
        fields({"name": "unit_id"}, {"name": "retired_on", "type": "number"}), "it is date", id="other type"
    ),
    pytest.param(
        fields({"name": "unit_id"}, {"name": "retired_on", "type": "date", "format": "any"}),
        "leaves open",
        id="any day",
    ),
    pytest.param(
        fields(
            {"name": "unit_id"},
            {"name": "retired_on", "type": "date", "format": "%d.%m.%Y"},
            {"name": "in_service_on", "type": "date"},
        ),
        "differ in 'format' (%d.%m.%Y, default)",
        id="two formats",
    ),
    pytest.param(
        {"schema": {**UNITS["schema"], "fieldsMatch": "partial"}}, "'fieldsMatch' is 'partial'", id="match"
    ),
]


@pytest.mark.parametrize(("changed", "words"), CHANGED)
def test_a_package_that_contradicts_itself_is_refused_before_anything_is_read(
    folder, tmp_path, changed, words
):
    (folder / "u.csv").write_text("unit_id,ward\nu1,Alder\n")
    (tmp_path / "outside.csv").write_text("unit_id,ward\nu9,Birch\n")
    (folder / "link.csv").symlink_to(tmp_path / "outside.csv")
    write_package(folder, {**UNITS, **changed})
    with pytest.raises(UsageError) as told:
        read(folder)
    assert words in str(told.value)
    assert "datapackage.json: resource '" in str(told.value)
    assert "\n" not in str(told.value)


def test_all_faults_of_a_package_are_named_at_once(folder):
    write_package(folder, {**UNITS, "name": "unit"}, {**UNITS, "dialect": {"header": False}}, UNITS, UNITS)
    (folder / "u.csv").write_text("unit_id,ward\nu1,Alder\n")
    with pytest.raises(UsageError) as told:
        read(folder)
    assert len(str(told.value).splitlines()) == 3
    assert "is that of another resource too" in str(told.value)


@pytest.mark.parametrize(
    "text", ["", "{", "[]", "{}", '{"resources": []}', '{"resources": [1]}', "[" * 100_000]
)
def test_what_is_no_package_is_refused(folder, text):
    (folder / "datapackage.json").write_text(text)
    with pytest.raises(UsageError, match=r"datapackage\.json: "):
        read(folder)


def test_a_stated_hash_and_size_that_are_those_of_the_file_pass(folder):
    text = "unit_id,ward\nu1,Alder\n"
    (folder / "u.csv").write_text(text)
    sha256 = hashlib.sha256(text.encode()).hexdigest()
    write_package(folder, {**UNITS, "bytes": len(text), "hash": f"sha256:{sha256}"})
    assert read(folder).files[0].accepted == 1


def test_a_file_that_a_profile_claims_too_is_read_by_neither(folder):
    (folder / "u.csv").write_text("unit_id,ward\nu1,Alder\n")
    write_package(folder, UNITS)
    profile = folder.parent / "p.toml"
    profile.write_text('name = "p"\nfiles = ["u*.csv"]\ntable = "units"\n')
    with pytest.raises(UsageError, match="both the profile 'p' and a data package"):
        read(folder, profile_path=profile)


def test_the_store_keeps_what_a_package_declared_for_the_rows_to_be_mended(folder):
    (folder / "u.csv").write_text("unit_id,ward\n,Alder\n")
    write_package(folder, UNITS)
    assert read(folder).files[0].quarantined == 1
    assert [path.suffix for path in (store_of(folder).root / "profiles").iterdir()]
