"""The steps of every command in their order, and nothing else."""

from __future__ import annotations

import tempfile
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

from pipeline import console
from pipeline.instants import parse_instant, parse_month
from pipeline.store import audit
from pipeline.store.layout import open_store
from pipeline.store.ledger import entries
from pipeline.store.lock import hold
from pipeline.store.parquet import remove_stray_temporaries

if TYPE_CHECKING:
    import polars as pl

    from pipeline.cases import Evidence
    from pipeline.corrections import Correction
    from pipeline.editions import Edition
    from pipeline.explaining import Definition, Limit
    from pipeline.forget import Forgotten
    from pipeline.ingest.check import CheckReport
    from pipeline.ingest.drafting.draft import Draft
    from pipeline.ingest.drafting.first_rows import FirstRows
    from pipeline.ingest.ingest import IngestReport
    from pipeline.ingest.repair import Retried
    from pipeline.measures.published import Published
    from pipeline.planning.plan import Plan
    from pipeline.status import Status
    from pipeline.tracing.answer import Answer
    from pipeline.tracing.audit_lines import AuditLines
    from pipeline.tracing.period import Period
    from pipeline.tracing.recall import Recall
    from pipeline.tracing.trace import Question, Trace
    from pipeline.tracing.unit_history import UnitHistory
    from pipeline.worklist import Worklist


def ingest(
    store_path: Path,
    paths: list[Path],
    site: str | None,
    rules: Path | None,
    profile: Path | None,
    now: datetime,
    quiet: bool = False,
) -> IngestReport:
    """Read files and folders into a store, which is made when there is none."""
    from pipeline.ingest.ingest import ingest as read

    store = open_store(store_path, create=True)
    with hold(store), console.bytes_read(quiet) as progress:
        remove_stray_temporaries(store.root)
        audit.begin(store)
        report = read(
            store, paths, site=site, rules_path=rules, profile_path=profile, now=now, progress=progress
        )
        audit.record(
            store,
            "ingest",
            files=len(report.files),
            rows_read=sum(file.rows_read for file in report.files),
            quarantined=sum(file.quarantined for file in report.files),
        )
    return report


def check(
    paths: list[Path],
    site: str | None,
    rules: Path | None,
    profile: Path | None,
    mask: bool,
    to: Path | None,
    now: datetime,
) -> CheckReport:
    """Try files as ingest would read them and keep nothing; write the findings where a workbook is named."""
    from pipeline.ingest.check import check as rehearse

    report = rehearse(paths, site=site, rules_path=rules, profile_path=profile, mask=mask, now=now)
    if to is not None:
        from pipeline.ingest.check_workbook import write_workbook

        write_workbook(report, to)
    return report


def inspect(
    file: Path, table: str | None, sheet: str | None, rules: Path | None, to: Path | None, now: datetime
) -> tuple[Draft, FirstRows]:
    """Draft a profile for a file, and read its first rows by it; without rules, local times are UTC."""
    from pipeline.ingest.drafting.draft import draft_profile
    from pipeline.ingest.drafting.first_rows import first_rows
    from pipeline.ingest.drafting.profile_toml import profile_toml
    from pipeline.site_rules import SiteRules, load_site_rules
    from pipeline.store.parquet import write_bytes

    draft = draft_profile(file, table, sheet)
    known = load_site_rules(rules) if rules else SiteRules(time_zone="UTC")
    if to is not None:
        write_bytes(to, profile_toml(draft).encode())
    return draft, first_rows(file, draft, known, now.replace(tzinfo=None))


def layout(to: Path, rules: Path | None) -> Path:
    """Write a data package of a folder's exports in the plain layout, or of the layout itself; return its path."""
    from pipeline.ingest.packages.describe import describe
    from pipeline.ingest.packages.schemas import PACKAGE
    from pipeline.site_rules import SiteRules, load_site_rules
    from pipeline.store.parquet import write_bytes

    write_bytes(to / PACKAGE, describe(to, load_site_rules(rules) if rules else SiteRules()))
    return to / PACKAGE


def measure(store_path: Path, as_of: str | None, quiet: bool = False) -> Published:
    """Compute and publish every table."""
    from pipeline.measures.published import measure as compute

    instant = parse_instant(as_of) if as_of else None
    store = open_store(store_path, create=False)
    with hold(store), console.stages(quiet) as progress:
        return compute(store, instant, progress)


def export(store_path: Path, to: Path, file_format: str) -> list[Path]:
    """Write the published tables as files."""
    from pipeline.exporting import export as write
    from pipeline.measures.published import published
    from pipeline.planning.standing import standing_plan

    store = open_store(store_path, create=False)
    results = published(store)
    return write(store, results, standing_plan(store, results), to, file_format)


def report(store_path: Path, month: str, to: Path, allow_poor_data: bool) -> list[Path]:
    """Render the month's pages, after the quality gate."""
    from pipeline.measures.published import published
    from pipeline.planning.standing import standing_plan
    from pipeline.quality_gate import faults, stop_at
    from pipeline.validation import validations
    from reports.render import write_reports

    month = parse_month(month)
    store = open_store(store_path, create=False)
    results, ledger = published(store), entries(store)
    found = faults(store, results, ledger, month)
    if found and not allow_poor_data:
        stop_at(found)
    validation, plan = validations(store, ledger), standing_plan(store, results)
    return write_reports(results, ledger, validation, month, to, plan=plan, poor_data=found)


def share(store_path: Path, month: str, to: Path, profile: str, allow_poor_data: bool) -> list[Path]:
    """Render the month's pages for readers outside the team, and record that they leave before they do."""
    from pipeline.disclosure import PROFILES
    from pipeline.measures.published import published
    from pipeline.quality_gate import faults, stop_at
    from pipeline.shared_editions import earlier_editions, remember, require_one_profile
    from pipeline.validation import validations
    from reports.render import shared_editions, write_shared

    month = parse_month(month)
    store = open_store(store_path, create=False)
    with hold(store):
        earlier = earlier_editions(store)
        require_one_profile(earlier, profile)
        results, ledger = published(store), entries(store)
        found = faults(store, results, ledger, month)
        if found and not allow_poor_data:
            stop_at(found)
        validation = validations(store, ledger)
        editions = shared_editions(
            results, ledger, validation, month, PROFILES[profile], earlier, is_poor=bool(found)
        )
        remember(store, month, profile, {edition.findings.site_id: edition.left for edition in editions})
    return write_shared(editions, month, to)


def quarantine(store_path: Path, file_name: str | None = None, table: str | None = None) -> pl.DataFrame:
    """Return the rows that were not accepted, of all files and tables or of one."""
    from pipeline.ingest.quarantine import listing, of_file

    return of_file(listing(open_store(store_path, create=False)), file_name, table)


def quarantined_row(store_path: Path, file_name: str, row: int) -> dict[str, Any]:
    """Return one row that was not accepted, field by field, with what is wrong in words."""
    from pipeline.ingest.repair_sheet import row_in_words

    return row_in_words(open_store(store_path, create=False), quarantine(store_path, file_name), row)


def export_quarantine(store_path: Path, file_name: str | None, table: str | None, to: Path) -> int:
    """Write rows as a workbook in which they can be mended; return how many."""
    from pipeline.ingest.repair_sheet import write_sheets

    store = open_store(store_path, create=False)
    rows = quarantine(store_path, file_name, table)
    write_sheets(rows, store, entries(store), to)
    return rows.height


def retry_quarantine(store_path: Path, workbook: Path, site: str | None, now: datetime) -> Retried:
    """Take in the rows that were mended in a workbook."""
    from pipeline.ingest.ingest import open_run
    from pipeline.ingest.repair import retry

    store = open_store(store_path, create=False)
    with hold(store):
        done = retry(open_run(store, site, None, now), workbook)
        audit.record(
            store, "quarantine retry", accepted=done.accepted, quarantined=sum(done.quarantined.values())
        )
    return done


def discard_quarantine(
    store_path: Path, file_name: str | None, table: str | None, rows: list[int], reason: str
) -> int:
    """Give up rows for good, with a reason that names no patient; return how many."""
    from pipeline.ingest.quarantine import listing, of_file
    from pipeline.ingest.repair import discard
    from pipeline.store.keys import load_key
    from pipeline.store.keys import recall as known
    from pipeline.tracing.references import require_no_reference

    store = open_store(store_path, create=False)
    with hold(store):
        require_no_reference(reason, known(store, load_key(store, create=False)))
        found = of_file(listing(store), file_name, table, rows)
        done = {entry.sha256: numbers for entry, numbers in discard(store, entries(store), found, reason)}
        audit.record(store, "quarantine discard", reason=reason, rows=done)
    return sum(map(len, done.values()))


def status(store_path: Path, now: datetime) -> Status:
    """Return what the store holds, what is missing or quiet, and who is writing."""
    from pipeline.status import status as look

    return look(open_store(store_path, create=False), now)


def corrections(store_path: Path) -> tuple[Correction, ...]:
    """Return what later exports changed of earlier ones."""
    from pipeline.corrections import corrections as find

    return find(open_store(store_path, create=False))


def plan(store_path: Path, months: int, changes: list[str], to: Path | None) -> tuple[Plan, list[Path]]:
    """Plan the months ahead, beside plans in which rules differ; return it and the workbooks written, if any."""
    from pipeline.planning.assumptions import parse_change
    from pipeline.planning.plan import make_plan

    tried = [parse_change(text) for text in changes]
    store = open_store(store_path, create=False)
    with hold(store):
        found = make_plan(store, months, tried)
    if to is None:
        return found, []
    from reports.plan_workbook import write_workbooks

    return found, write_workbooks(found, to)


def worklist(
    store_path: Path, as_of: str | None, ward: str | None, to: Path | None, now: datetime
) -> tuple[Worklist, list[Path]]:
    """Return what is to be done as of an instant, and the pages written of it, if any."""
    from pipeline.worklist import of_ward
    from pipeline.worklist import worklist as listed

    found = listed(open_store(store_path, create=False), parse_instant(as_of) if as_of else now)
    found = of_ward(found, ward) if ward else found
    if to is None:
        return found, []
    from reports.worklist_page import write_pages

    return found, write_pages(found, to, all_wards=ward is None)


def close(store_path: Path, month: str, allow_poor_data: bool, now: datetime, quiet: bool = False) -> Edition:
    """Measure, pass the quality gate, render the month's pages, and freeze it all as an edition."""
    from pipeline.editions import close as freeze
    from pipeline.editions import require_over
    from pipeline.measures.published import measure as compute
    from pipeline.planning.standing import standing_plan
    from pipeline.quality_gate import faults, stop_at
    from pipeline.validation import validations
    from reports.render import write_reports

    month = parse_month(month)
    store = open_store(store_path, create=False)
    with hold(store), tempfile.TemporaryDirectory(prefix="dewledger-") as folder:
        with console.stages(quiet) as progress:
            results, ledger = compute(store, None, progress), entries(store)
        require_over(results, month, now)
        found = faults(store, results, ledger, month)
        if found and not allow_poor_data:
            stop_at(found)
        validation, plan = validations(store, ledger), standing_plan(store, results)
        paths = write_reports(results, ledger, validation, month, Path(folder), plan=plan, poor_data=found)
        pages = {path.name: path.read_bytes() for path in paths}
        edition = freeze(store, results, ledger, month, pages, found, now)
        audit.record(store, "close", month=month, edition=edition.number, changes=edition.changes)
    return edition


def editions(store_path: Path, month: str | None) -> list[Edition]:
    """Return the closed months, or the editions of one."""
    from pipeline.editions import editions as find

    return find(open_store(store_path, create=False), parse_month(month) if month else None)


def write_edition(store_path: Path, month: str, edition: int, to: Path) -> list[Path]:
    """Write an edition's files out again."""
    from pipeline.editions import write_out

    return write_out(open_store(store_path, create=False), parse_month(month), edition, to)


def explain(
    store_path: Path | None, measure_name: str, month: str | None, site: str | None, ward: str | None
) -> tuple[Definition, tuple[Limit, ...], Evidence | None]:
    """Return what a measure means, the rules in force where a store is named, and a month's cases."""
    from pipeline.cases import evidence
    from pipeline.explaining import definition, limits_in_force
    from pipeline.measures.published import published

    defined = definition(measure_name)
    if store_path is None:
        return defined, (), None
    store = open_store(store_path, create=False)
    results = published(store)
    sites = {
        name: rules for name, rules in results.sites.items() if site is None or name.lower() == site.lower()
    }
    limits = limits_in_force(measure_name, sites)
    if month is None:
        return defined, limits, None
    found = evidence(store, results, entries(store), measure_name, parse_month(month), site, ward)
    return defined, limits, found


def demo(to: Path, months: int, units: int, sample_minutes: int, now: datetime, quiet: bool) -> list[Path]:
    """Invent the Tarnholt hospitals and take them from exports to a plan and the report of their last month."""
    from synthetic_logs.generate import write_hospitals

    exports, store = to / "exports", to / "store"
    if not quiet:
        console.say("Inventing the Tarnholt hospitals.")
    write_hospitals(exports, months=months, units=units, sample_minutes=sample_minutes)
    for site in sorted(path for path in exports.iterdir() if path.is_dir()):
        result = ingest(store, [site], None, site / "site.toml", None, now, quiet)
        if not quiet:
            read, kept_out = sum(f.rows_read for f in result.files), sum(f.quarantined for f in result.files)
            console.say(f"{site.name}: {len(result.files)} files, {read} rows read, {kept_out} quarantined.")
    results = measure(store, None, quiet)
    plan(store, 12, [], to / "plan")
    month = f"{results.as_of:%Y-%m}"
    return report(store, month, to / "report", allow_poor_data=False)


def trace(
    store_path: Path, question: Question, reason: str | None, to: Path | None
) -> tuple[Trace, Answer, list[Path]]:
    """Find who is linked, reveal references where a reason is given, and write the answer where a folder is."""
    from pipeline.tracing.references import revealed
    from pipeline.tracing.trace import trace as find
    from pipeline.tracing.trace_answer import trace_answer
    from reports.answer_files import write_trace

    store = open_store(store_path, create=False)
    found = revealed(store, find(store, question), reason, f"trace {question.kind}")
    answer = trace_answer(found, question)
    return found, answer, write_trace(found, answer, to) if to else []


def recall(
    store_path: Path, lot: str, site: str | None, as_of: datetime | None, reason: str | None, to: Path | None
) -> tuple[Recall, Answer, list[Path]]:
    """Find whom a lot reached, as `trace` does."""
    from pipeline.tracing.recall import recall as find
    from pipeline.tracing.recall_answer import recall_answer
    from pipeline.tracing.references import revealed
    from reports.answer_files import write_recall

    store = open_store(store_path, create=False)
    found = revealed(store, find(store, lot, site, as_of), reason, "recall")
    answer = recall_answer(found)
    return found, answer, write_recall(answer, to) if to else []


def unit_histories(
    store_path: Path,
    unit_id: str,
    site: str | None,
    period: Period,
    as_of: datetime | None,
    reason: str | None,
    to: Path | None,
) -> tuple[list[UnitHistory], list[Answer], list[Path]]:
    """Tell the history of a unit, at each site that has one of that name."""
    from pipeline.tracing.references import revealed
    from pipeline.tracing.unit_answer import unit_answer
    from pipeline.tracing.unit_history import unit_histories as find
    from reports.answer_files import write_unit

    store = open_store(store_path, create=False)
    found = [revealed(store, one, reason, "unit") for one in find(store, unit_id, site, period, as_of)]
    answers = [unit_answer(one) for one in found]
    pages = [write_unit(*pair, to) for pair in zip(found, answers, strict=True)] if to else []
    return found, answers, [path for paths in pages for path in paths]


def log_sheets(store_path: Path, unit_id: str | None, site: str | None, to: Path) -> list[Path]:
    """Write a unit's blank log sheet, or one for each site."""
    from pipeline.tracing.log_sheet import log_sheets as find
    from reports.answer_files import write_log_sheets

    return write_log_sheets(find(open_store(store_path, create=False), unit_id, site), to)


def forget(store_path: Path, reference: str, site: str, reason: str | None, really: bool) -> Forgotten:
    """Remove a patient from a store, or say what would be removed."""
    from pipeline.forget import foresee
    from pipeline.forget import forget as remove
    from pipeline.store.keys import load_key
    from pipeline.store.keys import recall as known
    from pipeline.tracing.references import require_no_reference

    store = open_store(store_path, create=False)
    if reason:
        require_no_reference(reason, known(store, load_key(store, create=False)))
    if not really:
        return foresee(store, reference, site)
    with hold(store):
        return remove(store, reference, site, reason)


def audit_lines(store_path: Path) -> AuditLines:
    """Read what was done to a store, and whether its record is as it was written."""
    from pipeline.tracing.audit_lines import audit_lines as read

    return read(open_store(store_path, create=False))
