-- title: A unit with more logged therapy in a local day than the day is long
-- reads: samples.therapy_pieces, run.days

select pieces.site_id, pieces.unit_id, pieces.local_date
from samples.therapy_pieces as pieces
join run.days using (site_id, local_date)
where pieces.basis = 'samples'
group by pieces.site_id, pieces.unit_id, pieces.local_date, days.starts_at, days.ends_at
having sum(pieces.therapy_s) > date_diff('second', days.starts_at, days.ends_at)
