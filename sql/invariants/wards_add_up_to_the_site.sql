-- title: A site's changeovers of a month that its wards do not add up to
-- reads: measures.changeover_monthly

select site_id, month
from measures.changeover_monthly
group by site_id, month
having sum(case when ward = '*' then changeovers end)
    <> sum(case when ward is distinct from '*' then changeovers else 0 end)
