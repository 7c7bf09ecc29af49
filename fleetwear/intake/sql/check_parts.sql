-- A chain of superseded numbers must end: each row's is followed through the store's newest rows and the sheet's.
with recursive following as (
    select part_number, superseded_by
    from (
        select part_number, superseded_by
        from (
            select part_number, superseded_by, lower(model) as model, kind, place, 0 as is_new, part_id as row_no
            from parts
            anti join superseded as gone on gone.table_name = 'parts' and gone.row_id = part_id
            union all
            select part_number, superseded_by, model_key, kind, lower(place), 1, n
            from typed
        )
        qualify row_number() over (
            partition by part_number, model, kind, place
            order by is_new desc, row_no desc
        ) = 1
    )
    where superseded_by is not null
),

chain as (
    select distinct part_number as start, superseded_by as reached, part_number || ' > ' || superseded_by as path, 1 as steps
    from typed
    where superseded_by is not null
    union all
    select chain.start, following.superseded_by, chain.path || ' > ' || following.superseded_by, chain.steps + 1
    from chain
    inner join following on following.part_number = chain.reached
    where chain.reached <> chain.start and chain.steps < 100
),

circles as (
    select start, min(path) as path from chain where reached = start or steps = 100 group by start
)

select
    t.n,
    t.source_row,
    t.quarantine_number as settles,
    t.part_number,
    models.model,
    t.kind,
    lower(t.place) as place,
    t.supplier,
    t.cost,
    t.lead_days,
    t.labour_hours,
    t.alignment_after,
    t.superseded_by,
    t.ordered_in_pairs,
    t.pieces_per_joint,
    to_json([
        t.part_number, models.model, t.kind, lower(t.place), t.supplier, t.cost::varchar, t.lead_days::varchar,
        t.labour_hours::varchar, t.alignment_after::varchar
    ] || case
        when coalesce(t.superseded_by, t.ordered_in_pairs::varchar, t.pieces_per_joint::varchar) is null then []
        else [t.superseded_by, t.ordered_in_pairs::varchar, t.pieces_per_joint::varchar]
    end)::varchar as content,
    null::bigint as entry_vehicle_id,
    null::date as entry_date,
    null::double as entry_odometer_km,
    without_nulls(t.reasons || [
        case when t.cost < 0 then 'cost "' || t.cost_written || '" is negative: it cannot be below zero' end,
        case
            when t.lead_days < 0
                then 'lead days "' || t.lead_days_written || '" is negative: it cannot be below zero'
        end,
        case
            when t.labour_hours < 0
                then 'labour hours "' || t.labour_hours_written || '" is negative: it cannot be below zero'
        end,
        case
            when t.pieces_per_joint < 1
                then 'pieces per joint "' || t.pieces_per_joint_written || '" must be above zero'
        end,
        case
            when circles.start is not null
                then 'the numbers supersede each other in a circle (' || circles.path
                    || '): leave the number that is ordered now without one'
        end
    ]) as reasons
from typed as t
left join models on models.model_key = t.model_key
left join circles on circles.start = t.part_number and t.superseded_by is not null
