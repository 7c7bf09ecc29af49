select
    e.kind, e.factor, e.level, e.reference, e.n_lives, e.n_vehicles, e.n_readings, e.ratio, e.lower, e.upper,
    e.simultaneous_lower, e.simultaneous_upper, e.p_value, e.p_holm, e.note, e.says
from fit_effects as e
where e.fit_id = $fit_id
    and ($kind is null or e.kind = $kind)
    and ($factor is null or e.factor = $factor)
order by e.row_no
