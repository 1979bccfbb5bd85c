-- title: Movements and counts of stock
-- section: planning
-- grain: one row per site_id, move_ref
-- reads: records.stock_moves
-- note: As known at as_of, beside the results that planning reads.

select site_id, move_ref, item_id, moved_at, kind, quantity, location, lot, expires_on, from records.stock_moves
