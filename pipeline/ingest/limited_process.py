"""The process that opens files nobody vouches for, with little memory and time to do it in.

Run as ``python -m pipeline.ingest.limited_process KIND SETTINGS`` with the file on standard input. It answers
with one line of JSON and then the table (Arrow, every column text) or the unpacked bytes.
"""

from __future__ import annotations

import contextlib
import json
import sys
from typing import Any

from pipeline.ingest.archives import Refusal, unpack
from pipeline.ingest.limits import CELLS, CPU_S, MEMORY_BYTES, UNPACKED_BYTES

_UNREADABLE = "its sheet cannot be read; save it again as .xlsx"


def main(arguments: list[str]) -> None:
    """Answer one request."""
    _limit()
    kind, settings = arguments[0], json.loads(arguments[1])
    content = sys.stdin.buffer.read()
    told: dict[str, Any]
    try:
        told, payload = _KINDS[kind](content, settings)
    except Refusal as refusal:
        told, payload = {"refused": str(refusal)}, b""
    except MemoryError:
        told, payload = {"refused": "it takes more memory to read than is allowed; export less at once"}, b""
    sys.stdout.buffer.write(json.dumps(told).encode() + b"\n" + payload)
    sys.stdout.buffer.flush()


def _limit() -> None:
    with contextlib.suppress(ImportError):  # Windows has no such limits; the clock still ends the process
        import resource

        resource.setrlimit(resource.RLIMIT_AS, (MEMORY_BYTES, MEMORY_BYTES))
        resource.setrlimit(resource.RLIMIT_CPU, (CPU_S, CPU_S))
        resource.setrlimit(resource.RLIMIT_CORE, (0, 0))


def _unpack(content: bytes, settings: dict[str, Any]) -> tuple[dict[str, Any], bytes]:
    return {}, unpack(content, settings["compression"])


def _workbook(content: bytes, settings: dict[str, Any]) -> tuple[dict[str, Any], bytes]:
    from pipeline.ingest.workbook_scan import scan

    sheet = settings["sheet"]
    found = scan(content, sheet)
    return vars(found), _sheet(content, sheet) if sheet is not None else b""


def _sheet(content: bytes, sheet: str) -> bytes:
    import fastexcel
    import pyarrow as pa

    try:
        book = fastexcel.read_excel(content)
        name = next(name for name in book.sheet_names if name.strip().lower() == sheet.strip().lower())
        cells = book.load_sheet(name, header_row=None, dtypes="string").to_arrow()
    except (MemoryError, KeyboardInterrupt, SystemExit):
        raise
    except BaseException as error:  # a panic inside the reader is no Exception
        raise Refusal(_UNREADABLE) from error
    return _arrow(pa.Table.from_batches([cells]))


def _parquet(content: bytes, _: dict[str, Any]) -> tuple[dict[str, Any], bytes]:
    import pyarrow as pa
    import pyarrow.parquet as pq

    try:
        file = pq.ParquetFile(pa.BufferReader(content))
        groups = [file.metadata.row_group(place) for place in range(file.metadata.num_row_groups)]
        large = sum(group.total_byte_size for group in groups) > UNPACKED_BYTES
        if large or file.metadata.num_rows * file.metadata.num_columns > CELLS:
            raise Refusal(f"it holds more than {CELLS:,} values; export a shorter time")
        table = file.read()
        columns = [_as_text(table.column(place)) for place in range(table.num_columns)]
    except (pa.ArrowException, OSError, ValueError) as error:
        raise Refusal("it is no Parquet file, is damaged, or has columns of lists or structures") from error
    names = [str(place) for place in range(table.num_columns)]
    return {"names": table.column_names}, _arrow(pa.table(columns, names=names))


def _as_text(column: Any) -> Any:
    """Return a column as text: instants in ISO 8601, those with a zone in UTC."""
    import pyarrow as pa
    import pyarrow.compute as pc

    if pa.types.is_dictionary(column.type):
        column = column.cast(column.type.value_type)
    if pa.types.is_timestamp(column.type):
        zoned = column.type.tz is not None
        seconds = column.cast(pa.timestamp("s", "UTC" if zoned else None), safe=False)
        return pc.strftime(seconds, f"%Y-%m-%dT%H:%M:%S{'Z' if zoned else ''}")
    return column.cast(pa.string())


def _arrow(table: Any) -> bytes:
    import pyarrow as pa

    # One long text that many cells share is small in a file, and large once each cell holds it.
    if table.nbytes > UNPACKED_BYTES:
        raise Refusal(
            f"its cells hold more than {UNPACKED_BYTES // 1_000_000} MB of text; export a shorter time"
        )
    sink = pa.BufferOutputStream()
    named = table.rename_columns([str(place) for place in range(table.num_columns)])
    with pa.ipc.new_stream(sink, named.schema) as writer:
        writer.write_table(named)
    return bytes(sink.getvalue())


_KINDS = {"unpack": _unpack, "xlsx": _workbook, "parquet": _parquet}

if __name__ == "__main__":
    main(sys.argv[1:])
