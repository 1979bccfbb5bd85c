"""Lots that come as GS1 labels: what is stored of them, what is not believed, and plain lots left alone."""

import datetime

import pytest
from ingest_rows import new_folder, quarantine_of, read_text, stored

from pipeline.errors import UsageError
from pipeline.ingest.labels import lot_named

GTIN = "09506000134352"
EXPIRY = datetime.date(2027, 12, 31)
FITTED = "unit_id,part,fitted_at,lot\n031,circuit,2026-03-02T08:00Z,{}\n"


@pytest.fixture
def folder(tmp_path, monkeypatch):
    return new_folder(tmp_path, monkeypatch)


def lots(folder, table="part_changes"):
    return stored(folder, table).select("lot", "expires_on").rows()


@pytest.mark.parametrize(
    "label",
    [
        f"(01){GTIN}(17)271231(10)ABC123",
        f"(01) {GTIN} (17) 271231 (10) ABC123",
        f"(10)ABC123(17)271231(21)S-9(01){GTIN}",
        f"]C101{GTIN}1727123110ABC123",
        f"]d201{GTIN}10ABC123\x1d17271231",
        f"\x1d01{GTIN}21S9\x1d10ABC123\x1d17271231",
        "10ABC123\x1d17271200",
        f"01{GTIN}1727123110ABC123",
    ],
)
def test_a_label_gives_its_lot_and_its_expiry(folder, label):
    result = read_text(folder, "part_changes.csv", FITTED.format(label))
    assert (result.accepted, result.warnings) == (1, {})
    assert lots(folder) == [("ABC123", EXPIRY)]


def test_a_label_in_a_stock_move_is_read_too(folder):
    row = f"move_ref,item_id,moved_at,kind,quantity,lot\n1,C7,2026-03-02T08:00Z,receipt,4,(01){GTIN}(10)abc\n"
    read_text(folder, "stock_moves.csv", row)
    assert lots(folder, "stock_moves") == [("abc", None)]


def test_the_same_fitting_by_label_and_by_lot_is_a_duplicate(folder):
    read_text(folder, "part_changes_1.csv", FITTED.format(f"(01){GTIN}(10)ABC123"))
    assert read_text(folder, "part_changes_2.csv", FITTED.format("abc123")).duplicates == 1


@pytest.mark.parametrize(
    "lot",
    [
        "20260412",
        "0109506000134352",  # an article's number alone is no longer than a lot may be
        f"01{GTIN[:-1]}31727123110ABC",  # its last digit is no check digit, and nothing marks a label
        "10ABC",
        "172712311",
        "(A)-7",
        "(7)12",
        "CIR(10)7",
    ],
)
def test_a_plain_lot_is_left_as_it_is(folder, lot):
    assert read_text(folder, "part_changes.csv", FITTED.format(lot)).accepted == 1
    assert lots(folder) == [(lot, None)]


@pytest.mark.parametrize(
    "label",
    [
        f"(01){GTIN[:-1]}3(10)ABC",  # another check digit
        f"]C101{GTIN[:-1]}310ABC",
        f"(01){GTIN[:-1]}(10)ABC",  # a digit short
        f"(01){GTIN}(17)260230(10)ABC",  # 30 February
        f"(01){GTIN}(17)261300(10)ABC",  # month 13
        "(10)ABC(10)DEF",  # two lots
        f"(01){GTIN}(10)",
        f"(01){GTIN}(10)ABC(17",
        "(10)" + "A" * 21,  # longer than a lot may be
        f"]C101{GTIN}1727",
    ],
)
def test_a_label_that_is_not_to_be_believed_is_kept_out(folder, label):
    assert read_text(folder, "part_changes.csv", FITTED.format(label)).accepted == 0
    assert quarantine_of(folder) == [(2, "bad_label")]


def test_a_label_without_a_lot_leaves_it_empty_with_a_warning(folder):
    result = read_text(folder, "part_changes.csv", FITTED.format(f"(01){GTIN}(17)271231"))
    assert result.warnings == {"missing_lot": 1}
    assert lots(folder) == [(None, EXPIRY)]


@pytest.mark.parametrize(("own", "kept"), [("2027-11-30", datetime.date(2027, 11, 30)), ("", EXPIRY)])
def test_an_expiry_in_its_own_column_counts_before_that_of_the_label(folder, own, kept):
    text = FITTED.replace("lot\n", "lot,expires_on\n").format(f"(10)ABC123(17)271231,{own}")
    read_text(folder, "part_changes.csv", text)
    assert lots(folder) == [("ABC123", kept)]


def test_the_century_of_an_expiry_is_that_of_the_row_and_not_of_the_day_it_is_read(folder):
    late = "unit_id,part,fitted_at,lot\nu,circuit,1999-03-02T08:00Z,(10)A(17)020531\n"
    read_text(folder, "part_changes.csv", late)
    assert lots(folder) == [("A", datetime.date(2002, 5, 31))]


def test_an_unreadable_time_beside_a_label_is_the_only_fault(folder):
    read_text(
        folder, "part_changes.csv", FITTED.replace("2026-03-02T08:00Z", "yesterday").format("(10)A(17)271231")
    )
    assert [reasons for _, reasons in quarantine_of(folder)] == ["bad_time"]


@pytest.mark.parametrize("said", [" ABC123 ", f"(01){GTIN}(10)ABC123", f"]C101{GTIN}10ABC123"])
def test_a_person_may_name_a_lot_by_its_label(said):
    assert lot_named(said) == "ABC123"


@pytest.mark.parametrize("said", [f"(01){GTIN[:-1]}3(10)A", f"(01){GTIN}"])
def test_a_label_without_a_lot_that_can_be_read_names_none(said):
    with pytest.raises(UsageError, match="label"):
        lot_named(said)
