-- title: What purchasing can order
-- section: planning
-- grain: one row per site_id, item_id
-- reads: records.items
-- note: As known at as_of, beside the results that planning reads.

select
    site_id, item_id, part, pack_size, unit_price, lead_time_days, lead_time_sd_days, shelf_life_days,
    min_order_packs,
from records.items
