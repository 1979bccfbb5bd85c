"""No small count can be told from what is printed: not on its own, not from totals, not from the rest of a total."""

from __future__ import annotations

import random
from collections import defaultdict
from itertools import product

import pytest
from attacker import told
from shared_results import EXACT, ROUNDING

from pipeline.disclosure import LEAST_WIDTH, NOTHING, Printed, Split, implied_bounds, printed, printed_rows


@pytest.mark.parametrize(
    ("count", "rounding", "exact"),
    [
        (0, Printed(0, 200), Printed(0, 200)),
        (1, Printed("1 to 7", 200), NOTHING),
        (7, Printed("1 to 7", 200), NOTHING),
        (8, Printed(10, 200), NOTHING),
        (10, Printed(10, 200), NOTHING),
        (11, Printed(10, 200), Printed(11, 200)),
        (12, Printed(10, 200), Printed(12, 200)),
        (13, Printed(15, 200), Printed(13, 200)),
        (192, Printed(190, 200), NOTHING),
        (193, Printed("all but 1 to 7", 200), NOTHING),
        (200, Printed(200, 200), Printed(200, 200)),
    ],
)
def test_a_count_and_its_complement_are_hidden_up_to_the_limit(count, rounding, exact):
    assert printed(Split(count, 200), ROUNDING) == rounding
    assert printed(Split(count, 200), EXACT) == exact


@pytest.mark.parametrize(
    ("total", "shown"), [(0, 0), (1, "1 to 7"), (7, "1 to 7"), (8, 10), (12, 10), (13, 15)]
)
def test_a_small_total_is_hidden_too(total, shown):
    assert printed(Split(0, total), ROUNDING) == Printed(0, shown)


def test_wards_that_tell_nothing_stay_as_they_are():
    wards = {"Alder": Split(3, 107), "Birch": Split(0, 40), "Cedar": Split(12, 60)}
    assert printed_rows(wards, Split(15, 207), ROUNDING) == {
        "Alder": Printed("1 to 7", 105), "Birch": Printed(0, 40), "Cedar": Printed(10, 60),
    }  # fmt: skip


def test_rounding_that_would_tell_a_count_hides_every_ward():
    # 18 is printed as 20 and 12 as 10: what is left for the other ward is 6 to 14, so it must be 6 or 7.
    wards = {"Alder": Split(6, 100), "Birch": Split(12, 100)}
    assert set(printed_rows(wards, Split(18, 200), ROUNDING).values()) == {NOTHING}


def test_an_exact_total_hides_the_next_ward_of_the_alphabet_whatever_its_size():
    wards = {
        "Alder": Split(400, 900),
        "Birch": Split(3, 50),
        "Cedar": Split(70, 300),
        "Dogwood": Split(20, 40),
    }
    shown = printed_rows(wards, Split(493, 1290), EXACT)
    assert [name for name, row in shown.items() if row == NOTHING] == ["Birch", "Cedar"]
    assert shown["Dogwood"] == Printed(20, 40)


def test_a_total_that_two_hidden_counts_could_make_up_is_not_divided():
    assert printed_rows({"Alder": Split(0, 2), "Birch": Split(0, 14)}, Split(0, 16), ROUNDING) == {
        "Alder": NOTHING, "Birch": NOTHING,
    }  # fmt: skip


def test_rows_that_do_not_add_up_are_all_hidden():
    assert implied_bounds([((5, 5), (0, 0), (5, 5))], ((9, 9), (0, 0), (9, 9)))[0][0] == (9, 5)
    assert set(printed_rows({"Alder": Split(3, 50)}, Split(40, 90), ROUNDING).values()) == {NOTHING}


@pytest.mark.parametrize(
    ("first", "later"), [((7, 120), (8, 121)), ((6, 100), (8, 102)), ((118, 120), (118, 130))]
)
def test_late_data_do_not_tell_what_the_site_hid_before(first, later):
    before, after = (printed(Split(*pair), ROUNDING) for pair in (first, later))
    row = (before.count, before.total)
    cell = (None, 0 if first[0] < 8 else 1)
    low, high = told({"all": row}, row, ROUNDING, [cell], (after.count, after.total))[cell]
    assert high - low >= LEAST_WIDTH


def tables(number: int, seed: int) -> list[dict[str, Split]]:
    """Return random small tables: few wards, few cases, seldom none."""
    chance = random.Random(seed)
    return [
        {
            f"ward {name}": Split(min(chance.choice((0, 1, 2, 5, 8, 13)), total), total)
            for name in range(chance.randint(1, 5))
            for total in [chance.choice((0, 3, 9, 14, 25, 60))]
        }
        for _ in range(number)
    ]


@pytest.mark.parametrize(("profile", "seed"), [(ROUNDING, 1), (EXACT, 2)], ids=["rounding", "exact"])
def test_no_small_count_is_told_more_closely_than_the_least_width(profile, seed):
    for wards in tables(50, seed):
        site = Split(sum(row.count for row in wards.values()), sum(row.total for row in wards.values()))
        shown = {name: (row.count, row.total) for name, row in printed_rows(wards, site, profile).items()}
        of_site = printed(site, profile)
        values = {
            (name, column): value
            for name, row in (*wards.items(), (None, site))
            for column, value in enumerate(row.parts)
            if profile.is_small(value)
        }
        found = told(shown, (of_site.count, of_site.total), profile, values)
        assert all(low <= values[cell] <= high for cell, (low, high) in found.items())
        assert all(high - low >= LEAST_WIDTH for low, high in found.values()), wards


@pytest.mark.parametrize("profile", [ROUNDING, EXACT], ids=["rounding", "exact"])
def test_knowing_how_the_program_chooses_tells_no_more(profile):
    """Of all tables of three wards that print the same, a small count in one is far off in another."""
    most, same = 30, defaultdict(list)
    for counts in product(range(most), repeat=3):
        if sum(counts) < most:
            wards = {name: Split(count, count) for name, count in zip("abc", counts, strict=True)}
            site = Split(sum(counts), sum(counts))
            shown = printed_rows(wards, site, profile)
            same[printed(site, profile), *shown.values()].append(counts)
    for (of_site, *_), counts in same.items():
        if isinstance(of_site.total, int) and of_site.total < most - profile.step:
            for column in zip(*counts, strict=True):
                assert max(column) - min(column) >= LEAST_WIDTH or not any(map(profile.is_small, column))
