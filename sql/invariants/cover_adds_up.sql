-- title: Hours of an episode that its parts cover more or less than once
-- reads: facts.part_cover

select site_id, unit_id, started_at, part, month
from facts.part_cover
where placed_s < 0
    or undocumented_s < 0
    or over_limit_s < 0
    or carried_over_s < 0
    or over_limit_s + carried_over_s > placed_s
    or placed_s + undocumented_s > episode_s
