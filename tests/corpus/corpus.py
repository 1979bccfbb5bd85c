"""All files of the corpus."""

from __future__ import annotations

import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "unit"))
from bad_file import BadFile
from cell_faults import cell_files
from declared_faults import declared_files
from row_faults import row_files
from text_faults import text_files
from workbook_faults import workbook_files

CORPUS: tuple[BadFile, ...] = (
    *cell_files(),
    *text_files(),
    *row_files(),
    *declared_files(),
    *workbook_files(),
)
