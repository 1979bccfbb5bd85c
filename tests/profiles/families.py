"""Eight kinds of export as hospitals might have them, invented, each with what its columns truly are.

No real system's layout is copied: names, order and quirks are made up from what wards call things.
"""

from __future__ import annotations

import datetime
import gzip
import json
import random
import sys
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "unit"))
from workbooks import workbook

ROWS = 60
#: What a column is: the canonical column, and the part of it that stands there.
Truth = dict[str, tuple[str | None, str]]
Instant = datetime.datetime


@dataclass(frozen=True)
class Family:
    """A file's name and content, its table, the truth of its columns, and the canonical rows that it says."""

    file: str
    content: bytes
    table: str
    truth: Truth
    rows: list[dict[str, object]]


def _instants(random_: random.Random, count: int = ROWS) -> list[Instant]:
    start = datetime.datetime(2026, 2, 20, 7, 0)
    return [
        start + datetime.timedelta(minutes=31 * number + random_.randrange(20)) for number in range(count)
    ]


def _text(lines: Sequence[Sequence[str]], delimiter: str) -> str:
    return "".join(delimiter.join(line) + "\r\n" for line in lines)


def german_log(random_: random.Random) -> Family:
    """A unit's log: title rows, semicolons, decimal commas, day first, a footer, cp1252."""
    head = [
        "Geräte-Nr.",
        "Datum/Zeit",
        "Fluss [l/min]",
        "Taupunkt [°C]",
        "Sollwert Taupunkt",
        "Betriebsart",
        "Alarm",
    ]
    words = {"in_use": "Therapie", "heating": "Aufheizen", "standby": "Bereitschaft"}
    lines, rows = [], []
    for at in _instants(random_):
        unit, flow, dew, phase = (
            f"00{random_.randrange(10, 30)}",
            random_.randrange(200, 600),
            random_.randrange(350, 375),
            random_.choice(list(words)),
        )
        decimal = [f"{flow / 10:.1f}".replace(".", ","), f"{dew / 10:.1f}".replace(".", ",")]
        lines.append([unit, f"{at:%d.%m.%Y %H:%M}", *decimal, "37", words[phase], ""])
        rows.append(
            {
                "unit_id": unit,
                "sampled_at": at,
                "flow_l_min": flow / 10,
                "dew_point_c": dew / 10,
                "phase": phase,
            }
        )
    text = (
        "Geräteprotokoll Tarnholt\r\nErstellt am 01.06.2026 06:00\r\n\r\n"
        + _text([head, *lines], ";")
        + "Ende des Protokolls\r\n"
    )
    truth: Truth = {
        "Geräte-Nr.": ("unit_id", ""),
        "Datum/Zeit": ("sampled_at", ""),
        "Fluss [l/min]": ("flow_l_min", ""),
        "Taupunkt [°C]": ("dew_point_c", ""),
        "Sollwert Taupunkt": ("set_dew_point_c", ""),
        "Betriebsart": ("phase", ""),
        "Alarm": (None, ""),
    }
    return Family("geraeteprotokoll_2026-03.csv", text.encode("cp1252"), "usage_samples", truth, rows)


def twelve_hour_episodes(random_: random.Random) -> Family:
    """Charted therapies: month first, twelve-hour clock, quoted names."""
    lines, rows = (
        [["MRN", "Patient Name", "Device #", "Care Unit", "Therapy Start", "Therapy End", "Charted By"]],
        [],
    )
    for number, at in enumerate(_instants(random_)):
        end = at + datetime.timedelta(hours=random_.randrange(2, 90))
        row = {
            "unit_id": f"H{random_.randrange(10, 40)}",
            "ward": random_.choice(["3 West", "ICU North"]),
            "started_at": at,
            "ended_at": end,
        }
        rows.append(row)
        clock = [f"{time:%m/%d/%Y %I:%M %p}" for time in (at, end)]
        lines.append([f"{number % 20:06d}", '"Doe, P."', str(row["unit_id"]), str(row["ward"]), *clock, "RT"])
    truth: Truth = {
        "MRN": ("patient_ref", ""),
        "Patient Name": (None, ""),
        "Device #": ("unit_id", ""),
        "Care Unit": ("ward", ""),
        "Therapy Start": ("started_at", ""),
        "Therapy End": ("ended_at", ""),
        "Charted By": (None, ""),
    }
    return Family("hfnc_therapies_0326.csv", _text(lines, ",").encode(), "episodes", truth, rows)


def changes_logbook(random_: random.Random) -> Family:
    """A ward's logbook of disposables, typed into a spreadsheet: real dates and times, litres, remarks."""
    words = {"circuit": "Tubing set", "water_bag": "Water bag", "interface": "Nasal cannula"}
    head = [
        "Unit no.",
        "Date changed",
        "Time changed",
        "Consumable",
        "Batch no.",
        "Expiry date",
        "Bag volume (L)",
        "Initials",
    ]
    grid: list[list[object]] = [["Respiratory logbook, Birch ward"] + [None] * 7, [None] * 8, list(head)]
    rows = []
    for at in _instants(random_):
        part, unit = random_.choice(list(words)), f"{random_.randrange(1, 30):03d}"
        expires = datetime.date(2027, 1, 1) + datetime.timedelta(days=random_.randrange(300))
        litres = 2 if part == "water_bag" else None
        grid.append(
            [unit, at.date(), at.time(), words[part], f"B{random_.randrange(10**5)}", expires, litres, "ab"]
        )
        rows.append(
            {
                "unit_id": unit,
                "fitted_at": at,
                "part": part,
                "expires_on": expires,
                "volume_ml": 2000 if litres else None,
            }
        )
    truth: Truth = {
        "Unit no.": ("unit_id", ""),
        "Date changed": ("fitted_at", ".date"),
        "Time changed": ("fitted_at", ".time"),
        "Consumable": ("part", ""),
        "Batch no.": ("lot", ""),
        "Expiry date": ("expires_on", ""),
        "Bag volume (L)": ("volume_ml", ""),
        "Initials": (None, ""),
    }
    content = workbook(("Guide", [["Write one line per change."]]), ("Changes", grid))
    return Family("consumables logbook.xlsx", content, "part_changes", truth, rows)


def cycle_report(random_: random.Random) -> Family:
    """A disinfector's report: tabs, UTF-16, durations instead of ends."""
    words = {"passed": "PASS", "failed": "FAIL", "interrupted": "ABORTED"}
    lines = [
        ["Serial no.", "Cycle no.", "Cycle start", "Duration (min)", "Result", "Cycle counter", "Operator"]
    ]
    rows = []
    for number, at in enumerate(_instants(random_)):
        minutes, outcome = random_.randrange(40, 70), random_.choice(list(words))
        unit = f"SN{random_.randrange(100, 130)}"
        lines.append(
            [
                unit,
                f"C{number:05d}",
                f"{at:%Y-%m-%d %H:%M:%S}",
                str(minutes),
                words[outcome],
                str(900 + number),
                "op",
            ]
        )
        rows.append(
            {
                "unit_id": unit,
                "started_at": at,
                "ended_at": at + datetime.timedelta(minutes=minutes),
                "outcome": outcome,
                "cycle_count": 900 + number,
            }
        )
    truth: Truth = {
        "Serial no.": ("unit_id", ""),
        "Cycle no.": ("cycle_ref", ""),
        "Cycle start": ("started_at", ""),
        "Duration (min)": ("ended_at", ".duration"),
        "Result": ("outcome", ""),
        "Cycle counter": ("cycle_count", ""),
        "Operator": (None, ""),
    }
    return Family(
        "cycle report 2026-03.txt", _text(lines, "\t").encode("utf-16"), "disinfections", truth, rows
    )


def french_sessions(random_: random.Random) -> Family:
    """Summaries of therapy: day and hour apart, decimal commas, accents in UTF-8 with a mark."""
    head = [
        "N° appareil",
        "Date début",
        "Heure début",
        "Date fin",
        "Heure fin",
        "Débit moyen (L/min)",
        "Observations",
    ]
    lines, rows = [head], []
    for at in _instants(random_):
        end = at + datetime.timedelta(minutes=random_.randrange(30, 900))
        unit, flow = f"A-{random_.randrange(10, 99)}", random_.randrange(200, 500)
        lines.append(
            [
                unit,
                f"{at:%d/%m/%Y}",
                f"{at:%H:%M}",
                f"{end:%d/%m/%Y}",
                f"{end:%H:%M}",
                f"{flow / 10}".replace(".", ","),
                "",
            ]
        )
        rows.append({"unit_id": unit, "started_at": at, "ended_at": end, "mean_flow_l_min": flow / 10})
    truth: Truth = {
        "N° appareil": ("unit_id", ""),
        "Date début": ("started_at", ".date"),
        "Heure début": ("started_at", ".time"),
        "Date fin": ("ended_at", ".date"),
        "Heure fin": ("ended_at", ".time"),
        "Débit moyen (L/min)": ("mean_flow_l_min", ""),
        "Observations": (None, ""),
    }
    return Family("sessions_mars.csv", _text(lines, ";").encode("utf-8-sig"), "usage_sessions", truth, rows)


def stock_lines(random_: random.Random) -> Family:
    """A stock system's movements as lines of JSON."""
    words = {"receipt": "Goods in", "issue": "Issue", "count": "Stocktake"}
    lines, rows = [], []
    for number, at in enumerate(_instants(random_)):
        kind, quantity = random_.choice(list(words)), random_.randrange(1, 60)
        moved = {
            "movementId": f"M{number}",
            "itemCode": f"I-{random_.randrange(5)}",
            "movementType": words[kind],
        }
        about = {"qty": quantity, "storageLocation": "Store 2", "batchNo": f"L{number}", "costCentre": 4711}
        lines.append({**moved, "postedAt": f"{at.isoformat()}Z", **about})
        rows.append({"move_ref": f"M{number}", "moved_at": at, "kind": kind, "quantity": quantity})
    truth: Truth = {
        "movementId": ("move_ref", ""),
        "itemCode": ("item_id", ""),
        "postedAt": ("moved_at", ""),
        "movementType": ("kind", ""),
        "qty": ("quantity", ""),
        "storageLocation": ("location", ""),
        "batchNo": ("lot", ""),
        "costCentre": (None, ""),
    }
    return Family(
        "stock-movements.jsonl", "\n".join(map(json.dumps, lines)).encode(), "stock_moves", truth, rows
    )


def census_sheet(random_: random.Random) -> Family:
    """A daily census in a workbook of several sheets, with a total at the end."""
    grid: list[list[object]] = [
        ["Noon census, Tarnholt"] + [None] * 3,
        ["Ward", "Census date", "Occupied beds", "Free beds"],
    ]
    rows = []
    for day in range(ROWS):
        on, patients = datetime.date(2026, 2, 1) + datetime.timedelta(days=day), random_.randrange(12, 30)
        grid.append(["Alder", on, patients, 30 - patients])
        rows.append({"ward": "Alder", "counted_on": on, "patients": patients})
    grid.append(["Total", None, sum(int(row["patients"]) for row in rows), None])
    truth: Truth = {
        "Ward": ("ward", ""),
        "Census date": ("counted_on", ""),
        "Occupied beds": ("patients", ""),
        "Free beds": (None, ""),
    }
    return Family(
        "census.xlsx", workbook(("Notes", [["a"], ["b"]]), ("Daily", grid)), "ward_census", truth, rows
    )


def other_units_log(random_: random.Random) -> Family:
    """A packed log in other units: litres per second, degrees Fahrenheit, oxygen as a fraction."""
    words = {"in_use": "RUNNING", "standby": "STANDBY", "off": "OFF"}
    lines = [
        ["Device ID", "Timestamp", "Flow (L/s)", "Dew Point (°F)", "FiO2 (fraction)", "Mode", "Firmware"]
    ]
    rows = []
    for at in _instants(random_):
        phase, litres, dew, oxygen = (
            random_.choice(list(words)),
            random_.randrange(30, 90),
            random_.randrange(960, 990),
            random_.randrange(21, 60),
        )
        unit = f"D{random_.randrange(100, 120)}"
        lines.append(
            [
                unit,
                f"{at:%Y-%m-%dT%H:%M:%S}+00:00",
                f"{litres / 100}",
                f"{dew / 10}",
                f"{oxygen / 100}",
                words[phase],
                "2.1",
            ]
        )
        rows.append(
            {
                "unit_id": unit,
                "sampled_at": at,
                "flow_l_min": litres * 0.6,
                "dew_point_c": (dew / 10 - 32) * 5 / 9,
                "oxygen_pct": oxygen,
                "phase": phase,
            }
        )
    truth: Truth = {
        "Device ID": ("unit_id", ""),
        "Timestamp": ("sampled_at", ""),
        "Flow (L/s)": ("flow_l_min", ""),
        "Dew Point (°F)": ("dew_point_c", ""),
        "FiO2 (fraction)": ("oxygen_pct", ""),
        "Mode": ("phase", ""),
        "Firmware": (None, ""),
    }
    return Family(
        "trend_export.psv.gz",
        gzip.compress(_text(lines, "|").encode(), mtime=0),
        "usage_samples",
        truth,
        rows,
    )


FAMILIES: dict[str, Callable[[random.Random], Family]] = {
    made.__name__: made
    for made in (
        german_log,
        twelve_hour_episodes,
        changes_logbook,
        cycle_report,
        french_sessions,
        stock_lines,
        census_sheet,
        other_units_log,
    )
}
