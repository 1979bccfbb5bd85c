"""What whoever made an export can do about each reason and warning."""

from __future__ import annotations

#: By the name of the rule, said to a person who can change the export or the sheet.
ADVICE = {
    "missing_value": "fill the cell in, or leave the row out of the export",
    "bad_number": "write a plain number, without a unit or a remark beside it",
    "bad_time": "write the date and time as the rest of the column has them, and check that the day exists",
    "nonexistent_local_time": "the clock was put forward over this time; write the time that was meant",
    "bad_code": "use one of the column's known words, or have the profile translate this one",
    "bad_label": "scan the pack again, or write the lot alone as it is printed",
    "out_of_range": "check the value and its unit",
    "ends_before_start": "check which of the two times is wrong",
    "in_future": "check the date; it lies after the export was made",
    "value_dropped": "the row counts without this value; check it and its unit",
    "ambiguous_local_time": "the clock showed this time twice; if the later was meant, export with an offset",
    "long_episode": "check that the end is right",
    "missing_end": "fill the end in once it is known",
    "missing_lot": "fill the lot number in, so that a recall can find the part",
    "wrong_field_count": "check for a delimiter inside a text: such a text must stand in quotes",
    "repeated_header": "leave the second header out of the export",
    "out_of_order": "export the unit's samples in order of time",
    "unknown_unit": "add the unit to the list of units, or correct its name",
}
