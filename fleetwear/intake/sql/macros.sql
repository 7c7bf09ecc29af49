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
