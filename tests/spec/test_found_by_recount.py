"""Sentences that recounts found nobody had written: merged twins, bags within one piece, humidity within a sample."""

from __future__ import annotations


def test_two_references_of_one_person_at_one_start_are_one_episode(spec):
    spec(
        model="occupancy.effective_episodes",
        given={
            "episodes": """
                patient_key | unit_id | ward  | started_at  | ended_at
                p1          | u1      | Alder | 03-01 08:00 | 03-02 08:00
                p2          | u1      | Birch | 03-01 08:00 | 03-03 08:00""",
            "patient_merges": "old_key | new_key\n p1 | p2",
        },
        expect="patient_key | ward | ended_at\n p2 | Birch | 03-03 08:00",
    )


def test_a_bag_hung_and_replaced_within_one_piece_of_therapy_has_its_share_of_it(spec):
    # 100 mL at 30 L/min and 37 °C last 75.4 min by the model (43.886 mg/L, 0.9933 g/mL).
    spec(
        model="facts.bag_runs",
        given={
            "usage_sessions": """
                unit_id | started_at  | ended_at    | mean_flow_l_min | mean_dew_point_c
                u1      | 03-02 08:00 | 03-02 20:00 | 30              | 37""",
            "part_changes": """
                unit_id | part      | fitted_at   | removed_at  | volume_ml
                u1      | water_bag | 03-02 07:00 |             | 100
                u1      | water_bag | 03-02 10:00 |             | 100
                u1      | water_bag | 03-02 15:00 | 03-02 20:00 | 100""",
        },
        expect="""
            hung_at     | modelled_empty_at | dry_therapy_min
            03-02 07:00 | 03-02 09:15:26    | 44.554
            03-02 10:00 | 03-02 11:15:26    | 224.55
            03-02 15:00 | 03-02 16:15:26    | 224.55""",
    )


def test_low_humidity_begins_within_a_sample_when_the_hour_after_power_on_ends(spec):
    spec(
        model="facts.therapy_days",
        given={
            "usage_samples": """
                unit_id | sampled_at  | flow_l_min | dew_point_c | phase   | set_dew_point_c
                u1      | 03-02 08:05 | 30         | 30          | in_use  | 37
                u1      | 03-02 08:15 | 30         | 30          | in_use  | 37
                u1      | 03-02 08:25 | 30         | 30          | in_use  | 37
                u1      | 03-02 08:35 | 30         | 30          | in_use  | 37
                u1      | 03-02 08:45 | 30         | 30          | in_use  | 37
                u1      | 03-02 08:55 | 30         | 30          | in_use  | 37
                u1      | 03-02 09:01 | 30         | 30          | in_use  | 37
                u1      | 03-02 09:11 | 0          |             | off     |""",
        },
        expect="basis | therapy_h | low_humidity_h\n samples | 1.1 | 0.1",
    )
