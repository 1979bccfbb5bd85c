"""How much an untrusted file may be, unpacked, and how much reading it may take."""

from __future__ import annotations

#: Bytes unpacked, counted while unpacking and not as the file states them; and how many times the packed size.
UNPACKED_BYTES = 200_000_000
UNPACKED_RATIO = 200
#: What is smaller than this is never called a bomb, whatever the ratio.
HARMLESS_BYTES = 4_000_000
MEMBERS = 200
CELLS = 20_000_000
#: Columns that a header names, and bytes of a line of text or of one value.
COLUMNS = 2_000
LINE_BYTES = 1_000_000

#: The process that reads an untrusted file: address space, processor seconds, seconds by the clock.
MEMORY_BYTES = 1 << 30
CPU_S = 60
WALL_S = 90
