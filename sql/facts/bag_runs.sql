-- title: Water bags against the model
-- section: 4.10
-- hidden: row_no, ward
-- grain: one row per water bag hung
-- reads: facts.part_spans, samples.logged_therapy, samples.unit_numbers, run.settings, run.water_units
-- note: An estimate: look at the bag. It is never a reason to leave one hanging.
-- note: Empty is when the modelled water since hanging reaches the volume that reaches the unit.

with

bags as (
    select
        spans.row_no, spans.site_id, spans.ward, spans.unit_id, units.unit_no,
        spans.fitted_at as hung_at, spans.in_place_until,
        coalesce(spans.volume_ml, settings.bag_volume_ml) as volume_ml,
        coalesce(spans.volume_ml, settings.bag_volume_ml) * settings.bag_usable_fraction * water_units.per_ml
            as usable_water,
        lead(spans.fitted_at) over (
            partition by spans.site_id, spans.unit_id order by spans.fitted_at, spans.row_no
        ) as next_hung_at,
    from facts.part_spans as spans
    join run.settings using (site_id)
    cross join run.water_units
    left join samples.unit_numbers as units using (site_id, unit_id)
    where spans.part = 'water_bag'
),

by_start as (
    select therapy.unit_no, therapy.starts_at, therapy.ends_at, therapy.water_rate, bags.row_no, bags.next_hung_at,
    from samples.logged_therapy as therapy
    asof left join bags
        on therapy.unit_no = bags.unit_no
        and therapy.starts_at >= bags.hung_at
),

-- A piece belongs to the bag hanging at its start; a few reach into the time of those hung during it.
meetings as (
    select row_no, starts_at, ends_at, water_rate from by_start where row_no is not null
    union all
    select bags.row_no, by_start.starts_at, by_start.ends_at, by_start.water_rate
    from by_start
    join bags
        on by_start.unit_no = bags.unit_no
        and bags.hung_at > by_start.starts_at
        and bags.hung_at < by_start.ends_at
    where by_start.row_no is null or by_start.ends_at > by_start.next_hung_at
),

pieces as (
    select
        meetings.row_no, meetings.water_rate, bags.usable_water,
        greatest(meetings.starts_at, bags.hung_at) as starts_at,
        date_diff(
            'second', greatest(meetings.starts_at, bags.hung_at), least(meetings.ends_at, bags.in_place_until)
        ) as piece_s,
    from meetings
    join bags using (row_no)
    where least(meetings.ends_at, bags.in_place_until) > greatest(meetings.starts_at, bags.hung_at)
),

therapy as (
    select row_no, sum(piece_s) as therapy_s, sum(water_rate * piece_s) >= any_value(usable_water) as runs_out,
    from pieces group by row_no
),

running as (
    select
        pieces.*,
        sum(water_rate * piece_s) over so_far as water_by_end,
        sum(piece_s) over so_far as therapy_by_end,
    from pieces
    join therapy using (row_no)
    where therapy.runs_out
    window so_far as (partition by row_no order by starts_at rows unbounded preceding)
),

last_pieces as (
    select
        row_no,
        starts_at as emptying_at,
        (usable_water - (water_by_end - water_rate * piece_s)) / water_rate as emptying_s,
        therapy_by_end - piece_s as therapy_before_s,
    from running
    where water_by_end >= usable_water and water_rate > 0
    qualify row_number() over (partition by row_no order by starts_at) = 1
),

bag_runs as (
    select
        bags.site_id, bags.unit_id, bags.hung_at, bags.volume_ml,
        last_pieces.emptying_at + to_seconds(cast(floor(last_pieces.emptying_s) as bigint)) as modelled_empty_at,
        bags.next_hung_at,
        case
            when last_pieces.row_no is null then therapy.therapy_s * 0.0
            else (therapy.therapy_s - last_pieces.therapy_before_s - last_pieces.emptying_s) / 60.0
        end as dry_therapy_min,
        bags.row_no, bags.ward,
    from bags
    left join therapy using (row_no)
    left join last_pieces using (row_no)
)

select * from bag_runs
