-- The small expressions that the checks share.
create or replace temp macro tidy(cell) as
    nullif(trim(cell, chr(32) || chr(9) || chr(10) || chr(13) || chr(160)), '');

-- Text as words are compared; fleetwear.intake.words.word_form is its twin.
create or replace temp macro word_form(cell) as trim(regexp_replace(lower(cell), '[\s_,-]+', ' ', 'g'));

create or replace temp macro plain_number(cell) as
    case
        when regexp_full_match(cell, '[+-]?(?:\d+(?:\.\d*)?|\.\d+)(?:[eE][+-]?\d+)?')
            and isfinite(try_cast(cell as double))
            then try_cast(cell as double)
    end;

create or replace temp macro yes_or_no(cell) as
    case
        when lower(cell) in ('yes', 'y', 'true', '1') then true
        when lower(cell) in ('no', 'n', 'false', '0') then false
    end;

create or replace temp macro quoted(cell) as '"' || cell || '"';

create or replace temp macro plain_number_form() as
    ' is not a plain number: write it like 1250 or 0.5, without thousands separators';

create or replace temp macro unknown_vehicle(unit, nearest) as
    'unit "' || unit || '" is not a known vehicle' || coalesce('; nearest is "' || nearest || '"', '')
    || ': load its row of a vehicles file first, or correct the unit';

create or replace temp macro unknown_joint(joint, model, nearest) as
    '"' || joint || '" is not a joint of model "' || model || '"'
    || coalesce('; nearest is "' || nearest || '"', '')
    || ': load it with a positions file first, or correct it';

create or replace temp macro without_nulls(reasons) as
    list_filter(reasons, lambda reason: reason is not null)::varchar[];

-- What a row of readings says, as its key is made from it.
create or replace temp macro reading_content(
    vehicle_id, visit_date, visit_odometer_km, shop, technician, position_id, direction, method, support, read_at,
    indicator, instrument, session_no, stroke_no, timing, result, play_mm, resolution_mm
) as
    concat(
        vehicle_id, chr(31), visit_date, chr(31), round(visit_odometer_km, 6), chr(31), shop, chr(31),
        technician, chr(31), position_id, chr(31), direction, chr(31), method, chr(31), support, chr(31),
        read_at, chr(31), indicator, chr(31), session_no, chr(31), stroke_no, chr(31), timing, chr(31),
        result, chr(31), round(play_mm, 6), chr(31), round(resolution_mm, 6), chr(31) || instrument
    );
