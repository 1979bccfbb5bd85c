"""What the program writes are Data Packages to somebody else's library, and it says what they hold."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path

from click.testing import Result
from frictionless import Package

from pipeline.records import TABLES

Run = Callable[..., Result]


def faults(package: Path) -> list[tuple[object, ...]]:
    """Each fault that the library finds: resource, row, field, kind."""
    return [
        (task.name, *error)
        for task in Package(str(package)).validate().tasks
        for error in task.flatten(["rowNumber", "fieldName", "type"])
    ]


def test_the_layout_is_a_package_with_a_resource_for_each_table(tmp_path: Path, dewledger: Run) -> None:
    assert dewledger("layout", "--to", tmp_path / "new").exit_code == 0
    described = Package(str(tmp_path / "new" / "datapackage.json"))
    assert {
        resource.name: [field.name for field in resource.schema.fields] for resource in described.resources
    } == {name: list(table.names) for name, table in TABLES.items()}


def test_a_field_says_what_records_say_of_its_column(tmp_path: Path, dewledger: Run) -> None:
    (tmp_path / "site.toml").write_text('time_zone = "UTC"\n[parts.filter]\n')
    dewledger("layout", "--to", tmp_path, "--rules", tmp_path / "site.toml")
    samples, changes = (
        next(
            item
            for item in json.loads((tmp_path / "datapackage.json").read_text())["resources"]
            if item["name"] == name
        )
        for name in ("usage_samples", "part_changes")
    )
    fields = {field["name"]: field for field in samples["schema"]["fields"]}
    assert fields["flow_l_min"] == {
        "name": "flow_l_min",
        "type": "number",
        "description": "A number, in litres per minute.",
        "constraints": {"required": True, "minimum": 0, "maximum": 100},
    }
    assert fields["phase"]["constraints"]["enum"] == list(TABLES["usage_samples"].column("phase").codes)
    assert (fields["sampled_at"]["type"], "constraints" in fields["dew_point_c"]) == ("datetime", True)
    assert "required" not in fields["dew_point_c"]["constraints"]
    assert samples["schema"]["primaryKey"] == ["unit_id", "sampled_at"]
    part = next(field for field in changes["schema"]["fields"] if field["name"] == "part")
    assert "filter" in part["constraints"]["enum"]
    assert changes["schema"]["uniqueKeys"] == [["unit_id", "patient_ref", "part", "fitted_at"]]


def test_a_folder_of_exports_becomes_a_valid_package_of_its_files(ward: Path, dewledger: Run) -> None:
    (ward / "in" / "episodes_2026-04.csv").write_text(
        "Site_ID,unit_id,Remark,patient_ref,ward,started_at\nT,u1,calm,canary-4,Alder,2026-04-01T08:00:00Z\n"
    )
    result = dewledger("layout", "--to", ward / "in", "--json")
    package = Path(json.loads(result.stdout)["file"])
    assert [resource.name for resource in Package(str(package)).resources] == [
        "disinfections",
        "episodes",
        "episodes_2026-04",
        "part_changes",
    ]
    assert faults(package) == []
    # And a file that is not as described is found out by the same library.
    (ward / "in" / "episodes.csv").write_text((ward / "in" / "episodes.csv").read_text().replace("u1", "", 1))
    assert faults(package) == [("episodes", 2, "unit_id", "constraint-error")]


def test_a_file_that_is_not_its_table_is_not_described(ward: Path, dewledger: Run) -> None:
    (ward / "in" / "units.csv").write_text("a;b\n1;2\n")
    result = dewledger("layout", "--to", ward / "in")
    assert result.exit_code == 3
    assert "units.csv: row 1 is no header of units" in result.stderr
    assert not (ward / "in" / "datapackage.json").exists()


def test_exported_tables_lie_beside_a_valid_package_of_them(ward: Path, dewledger: Run) -> None:
    store = ward / "store"
    (ward / "in" / "episodes_2.csv").write_text(
        "patient_ref,unit_id,ward,started_at\ncanary-9,u1,Alder,soon\n"
    )
    dewledger("ingest", "--store", store, "--rules", ward / "site.toml", ward / "in")
    dewledger("measure", "--store", store)
    assert dewledger("export", "--store", store, "--to", ward / "out").exit_code == 0
    described = Package(str(ward / "out" / "datapackage.json"))
    files = {path.name for path in (ward / "out").glob("*.csv")}
    assert {resource.path for resource in described.resources} == files
    assert {"changeovers", "part_spans", "lots", "quarantine"} <= set(described.resource_names)
    assert faults(ward / "out" / "datapackage.json") == []
    fields = {field.name: field.type for field in described.get_resource("part_spans").schema.fields}
    assert [fields[name] for name in ("lot", "fitted_at", "in_place_h", "due", "carried_over")] == [
        "string",
        "datetime",
        "number",
        "boolean",
        "integer",
    ]
