"""GS1 labels against published check digits, element strings and dates; `memory` marks a source not opened."""

import datetime

import pytest

from pipeline.ingest.labels import elements, expires_on

CHECK_DIGITS = [
    # the number without its last digit, that digit
    pytest.param("629104150021", 3, id="GS1 check-digit page and IBM support page"),
    pytest.param("730001100001", 7, id="GS1 Sweden worked example"),
    pytest.param("4098765000022", 3, id="IBM support page, GTIN-14 example"),
    pytest.param("9841234567890", 8, id="python-stdnum doctest, GTIN-14"),
    pytest.param("7351353", 7, id="python-stdnum doctest, EAN-8"),
    pytest.param("03600029145", 2, id="UPC-A textbook example (memory)"),
]


@pytest.mark.parametrize(("body", "check"), CHECK_DIGITS)
def test_of_ten_last_digits_only_the_published_one_is_read(body, check):
    # Shorter numbers stand in a label with zeros in front (GS1 General Specifications, identifier 01).
    read = [digit for digit in range(10) if elements(f"(01){body.zfill(13)}{digit}")]
    assert read == [check]


@pytest.mark.parametrize("mark", ["]C1", "]d2", "]Q3", "]e0", "\x1d", ""])
def test_an_element_string_comes_apart_as_published(mark):
    # python-stdnum 2.2, doctest of gs1_128: (01)38425876095074(17)181119(37)1
    found = elements(f"{mark}013842587609507417181119371")
    assert found == {"01": "38425876095074", "17": "181119", "37": "1"}
    assert expires_on("181119", 2018) == datetime.date(2018, 11, 19)


@pytest.mark.parametrize(
    ("six_digits", "day"),
    # The documentation of the Ruby gem gs1 for 210300; biip 5.2.0 for the others.
    [("210300", (2021, 3, 31)), ("240200", (2024, 2, 29)), ("260200", (2026, 2, 28))],
)
def test_day_00_is_the_last_of_the_month(six_digits, day):
    assert expires_on(six_digits, 2026) == datetime.date(*day)


# GS1 General Specifications 7.12 (memory): 51 to 99 more than this year is the last century, 50 to 99 less the next.
@pytest.mark.parametrize(
    ("this_year", "two_digits", "year"),
    [
        (2026, "76", 2076),
        (2026, "77", 1977),
        (2026, "00", 2000),
        (1999, "00", 2000),
        (2051, "01", 2101),
        (2051, "02", 2002),
    ],
)
def test_two_digits_of_a_year_lie_from_49_years_back_to_50_ahead(this_year, two_digits, year):
    assert expires_on(f"{two_digits}0615", this_year).year == year
