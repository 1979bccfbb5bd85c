-- title: An episode in no stay, or in more than one
-- reads: occupancy.effective_episodes, facts.stay_episodes

select episodes.site_id, episodes.unit_id, episodes.started_at
from occupancy.effective_episodes as episodes
left join facts.stay_episodes as stays using (site_id, unit_id, patient_key, started_at)
group by episodes.site_id, episodes.unit_id, episodes.patient_key, episodes.started_at
having count(stays.stay_no) <> 1
