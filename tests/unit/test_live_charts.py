"""Charts as a browser gets them: what they share said once, and nothing that could end the script."""

from __future__ import annotations

import json
from typing import Any

from report_results import HOSTILE_WARD

from reports import svg
from reports.live_charts import packed


def chart(values: list[dict[str, Any]], **more: Any) -> dict[str, Any]:
    """A compiled chart of these rows that names the field `n`."""
    return {"data": [{"name": "rows", "values": values}], "marks": [{"field": "n"}], **more}


def rows_of(text: str, name: str) -> dict[str, Any]:
    return json.loads(text)["charts"][name]["data"][0]["values"]


def test_rows_are_lists_of_the_columns_that_the_chart_names_and_of_their_place_in_the_table():
    assert rows_of(packed({"a": chart([{"n": 1, "other": 2, "row": 0}])}), "a") == {
        "names": ["n", "row"],
        "rows": [[1, 0]],
    }


def test_a_number_has_five_digits():
    assert rows_of(packed({"a": chart([{"n": 0.123456789}])}), "a")["rows"] == [[0.12346]]


def test_what_two_charts_share_is_said_once():
    shared = {"axes": [{"labelColor": "grey", "labelFontSize": 11}]}
    found = json.loads(packed({"a": chart([], **shared), "b": chart([{"n": 1}], **shared)}))
    assert found["charts"]["a"]["axes"] == found["charts"]["b"]["axes"]
    (number,) = found["charts"]["a"]["axes"].values()
    assert found["parts"][number] == shared["axes"]


def test_a_colour_of_a_chart_is_a_variable_of_the_page_and_one_in_a_name_is_left_alone():
    found = packed({"a": chart([{"n": "#1c2a30"}], fill="#1c2a30")})
    assert json.loads(found)["charts"]["a"]["fill"] == "var(--ink)"
    assert rows_of(found, "a")["rows"] == [["#1c2a30"]]


def test_a_hostile_name_comes_back_whole():
    found = packed({"a": chart([{"n": HOSTILE_WARD}])})
    assert rows_of(found, "a")["rows"] == [[HOSTILE_WARD]]


def test_numbers_and_colours_in_words_are_no_drawing():
    drawn = svg.themed(
        svg.slim('<text class="x" y="1.234" fill="#1c2a30">1.234 #1c2a30 class="y"</text>', "p")
    )
    assert drawn == '<text y="1.2" fill="var(--ink)">1.234 #1c2a30 class="y"</text>'


def test_marks_that_look_alike_say_so_on_their_group():
    drawn = svg.slim('<g><line x="1" stroke="a"/><line x="2" stroke="a" stroke-width="2"/></g>', "p")
    assert drawn == '<g stroke="a"><line x="1"/><line x="2" stroke-width="2"/></g>'
