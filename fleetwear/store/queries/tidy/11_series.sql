-- A life in one load direction: what the fit says of every one, what the forecast says of those that go on.
with at_end as (
    select
        s.vehicle_id,
        s.position_id,
        s.life_no,
        s.direction,
        max(s.life_distance_km) as life_distance_km,
        min(s.visit_date) as first_date,
        max(s.visit_date) as last_date,
        count(*) filter (where s.result = 'measured') as measured_visits
    from known.known_series_visits as s
    group by s.vehicle_id, s.position_id, s.life_no, s.direction
),

-- The factor of growth at a distance, as forecast.curves.growth_factor has it, over the distance read so far.
steps as (
    select
        c.vehicle_id,
        c.position_id,
        c.life_no,
        c.direction,
        c.weight,
        c.growth,
        c.var_growth,
        10000.0 / e.life_distance_km * (
            pow(greatest((e.life_distance_km + c.shift_km) / c.reference_km, 0.0), c.exponent)
            + (c.pace - 1.0) * greatest(e.life_distance_km + c.shift_km - c.onset_km, 0.0) / c.reference_km
            - pow(greatest(c.shift_km / c.reference_km, 0.0), c.exponent)
            - (c.pace - 1.0) * greatest(c.shift_km - c.onset_km, 0.0) / c.reference_km
        ) as factor
    from main.posteriors as c
    join at_end as e
        on e.vehicle_id = c.vehicle_id
        and e.position_id = c.position_id
        and e.life_no = c.life_no
        and e.direction = c.direction
    where c.fit_id = (select b.fit_number from tidy.about as b) and e.life_distance_km > 0.0
),

fitted as (
    select
        t.vehicle_id,
        t.position_id,
        t.life_no,
        t.direction,
        sum(t.weight * t.growth * t.factor) / sum(t.weight) as mean,
        sum(t.weight * (pow(t.growth * t.factor, 2) + t.var_growth * pow(t.factor, 2))) / sum(t.weight) as square
    from steps as t
    group by t.vehicle_id, t.position_id, t.life_no, t.direction
)

select
    v.unit,
    v.depot,
    v.model,
    v.duty,
    p.joint,
    p.kind,
    f.direction as load_direction,
    f.life_no,
    l.is_current as life_is_current,
    l.origin,
    l.start_date as life_start_date,
    l.end_date as life_end_date,
    l.start_km as life_start_distance_km,
    j.life_distance_km,
    e.life_distance_km as life_distance_read_km,
    l.supplier,
    l.part_number,
    f.n_visits as visits,
    e.measured_visits,
    e.first_date as first_reading_date,
    e.last_date as last_reading_date,
    j.last_result,
    j.last_play_mm,
    j.last_largest_mm as last_largest_play_mm,
    nullif(f.model_group, '') as model_group,
    nullif(f.cohort, '') as cohort,
    nullif(f.whose_line, '') as line_of,
    g.mean as fitted_growth_mm_per_10000_km,
    g.mean - 1.959963984540054 * sqrt(greatest(g.square - pow(g.mean, 2), 0.0)) as fitted_growth_mm_per_10000_km_lower,
    g.mean + 1.959963984540054 * sqrt(greatest(g.square - pow(g.mean, 2), 0.0)) as fitted_growth_mm_per_10000_km_upper,
    10000.0 * j.growth_mm_per_km as growth_ahead_mm_per_10000_km,
    10000.0 * j.growth_lower as growth_ahead_mm_per_10000_km_lower,
    10000.0 * j.growth_upper as growth_ahead_mm_per_10000_km_upper,
    j.limit_mm,
    j.limit_source,
    nullif(j.indicative, '') as limit_indicative,
    j.share_of_limit,
    j.play_now_mm,
    j.play_next_mm as play_at_next_service_mm,
    j.play_next_lower as play_at_next_service_mm_lower,
    j.play_next_upper as play_at_next_service_mm_upper,
    j.p_over_next as probability_over_at_next_service,
    j.p_reading_over_next as probability_reading_over_at_next_service,
    j.accepted_risk,
    j.crossing_date_05,
    j.crossing_date_50,
    j.crossing_date_95,
    j.crossing_odometer_05 as crossing_odometer_km_05,
    j.crossing_odometer_50 as crossing_odometer_km_50,
    j.crossing_odometer_95 as crossing_odometer_km_95,
    f.last_expected_mm,
    f.last_z as last_standard_deviations_off,
    f.fell_after as play_fell_after_date,
    f.fell_on as play_fell_on_date,
    f.fell_from_mm as play_fell_from_mm,
    f.fell_to_mm as play_fell_to_mm,
    nullif(coalesce(j.doubt, f.doubt), '') as doubt,
    j.outcome,
    j.reason,
    a.as_of,
    a.forecast_number,
    a.fit_number,
    a.program_version
from main.fit_series as f
cross join tidy.about as a
join known.known_vehicles as v on v.vehicle_id = f.vehicle_id
join main.positions as p on p.position_id = f.position_id
join known.known_lives as l
    on l.vehicle_id = f.vehicle_id and l.position_id = f.position_id and l.life_no = f.life_no
left join at_end as e
    on e.vehicle_id = f.vehicle_id
    and e.position_id = f.position_id
    and e.life_no = f.life_no
    and e.direction = f.direction
left join fitted as g
    on g.vehicle_id = f.vehicle_id
    and g.position_id = f.position_id
    and g.life_no = f.life_no
    and g.direction = f.direction
left join main.forecast_joints as j
    on j.forecast_id = a.forecast_number
    and j.vehicle_id = f.vehicle_id
    and j.position_id = f.position_id
    and j.life_no = f.life_no
    and j.direction = f.direction
where f.fit_id = a.fit_number
