-- title: Water bags against the model
-- section: 4.10
-- hidden: row_no, ward
-- grain: one row per water bag hung
-- reads: facts.part_spans, samples.logged_therapy, run.settings, run.water_units
-- note: An estimate: look at the bag. It is never a reason to leave one hanging.
-- note: Empty is when the modelled water since hanging reaches the volume that reaches the unit.

with

bags as (
    select
        spans.row_no, spans.site_id, spans.ward, spans.unit_id, spans.fitted_at as hung_at, spans.in_place_until,
        coalesce(spans.volume_ml, settings.bag_volume_ml) as volume_ml,
        coalesce(spans.volume_ml, settings.bag_volume_ml) * settings.bag_usable_fraction * water_units.per_ml
            as usable_water,
        lead(spans.fitted_at) over (
            partition by spans.site_id, spans.unit_id order by spans.fitted_at, spans.row_no
        ) as next_hung_at,
    from facts.part_spans as spans
    join run.settings using (site_id)
    cross join run.water_units
    where spans.part = 'water_bag'
),

-- A piece of therapy meets the bag hanging at its start and, rarely, the one hanging at its end.
meetings as (
    select bags.row_no, therapy.starts_at, therapy.ends_at, therapy.water_rate
    from samples.logged_therapy as therapy
    asof join bags
        on therapy.site_id = bags.site_id
        and therapy.unit_id = bags.unit_id
        and therapy.starts_at >= bags.hung_at
    union
    select bags.row_no, therapy.starts_at, therapy.ends_at, therapy.water_rate
    from samples.logged_therapy as therapy
    asof join bags
        on therapy.site_id = bags.site_id
        and therapy.unit_id = bags.unit_id
        and therapy.ends_at > bags.hung_at
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

running as (
    select
        *,
        sum(water_rate * piece_s) over so_far as water_by_end,
        sum(piece_s) over so_far as therapy_by_end,
    from pieces
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

therapy as (
    select row_no, sum(piece_s) as therapy_s from pieces group by row_no
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
