-- title: A part change that found neither a span nor the warning that it has none
-- reads: records.part_changes, facts.part_spans, facts.record_warnings

select changes.site_id, changes.row_no
from records.part_changes as changes
anti join facts.part_spans as spans on changes.row_no = spans.row_no
where not exists (
    select 1 from facts.record_warnings as warnings
    where warnings.warning = 'unlinked'
        and warnings.site_id = changes.site_id
        and warnings.warned_at = changes.fitted_at
)
