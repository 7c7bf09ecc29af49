-- The small expressions that the checks share.

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

-- What a row says of its visit, and what a row of readings says, as its key is made from it.
create or replace temp macro visit_said(vehicle_id, visit_date, visit_odometer_km) as
    concat(vehicle_id, chr(31), visit_date, chr(31), round(visit_odometer_km, 6));

create or replace temp macro way_said(
    shop, technician, position_id, direction, method, support, read_at, indicator, session_no, stroke_no, timing
) as
    concat(
        shop, chr(31), technician, chr(31), position_id, chr(31), direction, chr(31), method, chr(31), support, chr(31),
        read_at, chr(31), indicator, chr(31), session_no, chr(31), stroke_no, chr(31), timing
    );

create or replace temp macro play_said(result, play_mm, resolution_mm) as
    concat(result, chr(31), round(play_mm, 6), chr(31), round(resolution_mm, 6));

create or replace temp macro all_said(said_of_visit, said_of_way, said_of_play, instrument) as
    concat(said_of_visit, chr(31), said_of_way, chr(31), said_of_play, chr(31) || instrument);

create or replace temp macro reading_content(
    said_of_visit, shop, technician, position_id, direction, method, support, read_at, indicator, instrument,
    session_no, stroke_no, timing, result, play_mm, resolution_mm
) as
    all_said(
        said_of_visit,
        way_said(
            shop, technician, position_id, direction, method, support, read_at, indicator, session_no, stroke_no, timing
        ),
        play_said(result, play_mm, resolution_mm),
        instrument
    );

-- Whether two rows say that a joint was read in the same way.
create or replace temp macro same_way(a, b) as
    a.direction = b.direction
    and a.method is not distinct from b.method
    and a.support is not distinct from b.support
    and a.read_at is not distinct from b.read_at
    and a.indicator is not distinct from b.indicator
    and a.instrument is not distinct from b.instrument
    and a.technician is not distinct from b.technician
    and a.timing = b.timing;

-- What a reading of placed_readings says, and its key as the first row to say so.
create or replace temp macro said_by(c) as all_said(c.visit_said, c.way_said, c.play_said, c.instrument);

create or replace temp macro reading_key(c) as
    md5(concat(c.visit_said, chr(31), c.way_said, chr(31), c.play_said, chr(31) || c.instrument, '1'));

-- What a wheel check says, at a visit.
create or replace temp macro wheel_check_content(c, of_vehicle, on_date, at_km) as
    to_json([
        of_vehicle::varchar, on_date::varchar, round(at_km, 6)::varchar, c.technician, c.axle, c.side, c.wheel_part,
        c.direction, c.method, c.support, c.read_at, c.bearings_adjusted::varchar, c.bead_diameter_in::varchar, c.result,
        round(c.play_mm, 6)::varchar
    ])::varchar;

-- A vehicle identification number by which a vehicle can be known again; fleetwear.intake.vin is the twin of these.
create or replace temp macro vin_of(cell) as
    case
        when regexp_full_match(upper(regexp_replace(cell, '[\s-]', '', 'g')), '[A-HJ-NPR-Z0-9]{17}')
            and len(list_distinct(string_split(upper(regexp_replace(cell, '[\s-]', '', 'g')), ''))) > 1
            then upper(regexp_replace(cell, '[\s-]', '', 'g'))
    end;

create or replace temp macro vin_digits(vin) as translate(vin, 'ABCDEFGHJKLMNPRSTUVWXYZ', '12345678123457923456789');

create or replace temp macro vin_is_checked(vin) as
    substr(vin, 9, 1) = substr(
        '0123456789X',
        1 + (list_sum(list_transform(
            range(1, 18),
            lambda i: substr(vin_digits(vin), i, 1)::integer
                * [8, 7, 6, 5, 4, 3, 2, 10, 0, 9, 8, 7, 6, 5, 4, 3, 2][i]
        )) % 11)::integer,
        1
    );

-- One number is a slip of the pen for the other: a place or two apart, and only the other has the right check digit.
create or replace temp macro vin_is_slip(vin, of_vin) as
    coalesce(hamming(vin, of_vin) <= 2 and vin <> of_vin and vin_is_checked(of_vin) and not vin_is_checked(vin), false);
