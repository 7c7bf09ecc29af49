with named as (
    select
        t.*,
        models.model as model_name,
        lower(t.axle) as axle_key,
        lower(t.place) as place_key,
        concat_ws(' ', t.side, lower(t.axle), lower(t.place), t.kind) as joint
    from typed as t
    left join models on models.model_key = t.model_key
),
keyed as (
    select
        d.*,
        to_json([d.model_name, d.side, d.axle_key, d.place_key, d.kind])::varchar as content
    from named as d
),
compared as (
    select
        k.*,
        md5(k.content || '1') as key_here,
        first_value(k.content) over same_joint as first_content,
        first_value(k.source_row) over same_joint as first_row
    from keyed as k
    window same_joint as (partition by k.model_name, word_form(k.joint) order by len(k.reasons) > 0, k.n)
)
select
    c.n,
    c.source_row,
    c.quarantine_number as settles,
    c.model_name as model,
    c.axle_key as axle,
    c.side,
    c.place_key as place,
    c.kind,
    c.joint,
    c.content,
    null::bigint as entry_vehicle_id,
    null::date as entry_date,
    null::double as entry_odometer_km,
    without_nulls(c.reasons || [
        case
            when p.position_id is not null or c.content <> c.first_content
                then 'the joint "' || c.joint || '" of model "' || c.model || '" '
                    || case
                        when p.position_id is not null then 'is already on record'
                        else 'stands in row ' || c.first_row
                    end
                    || ' with its side, axle and place written otherwise: write them the same way, '
                    || 'or tell the two joints apart by place'
        end
    ]) as reasons
from compared as c
left join positions as p
    on p.model = c.model_name and word_form(p.joint) = word_form(c.joint) and p.row_key <> c.key_here
