-- A row that says which quarantined row it corrects must name one of its own table.
select
    c.* exclude (reasons),
    without_nulls(c.reasons || [
        case
            when c.settles is not null and q.quarantine_id is null
                then 'quarantine number ' || c.settles || ' names no quarantined row of a ' || $table_name
                    || ' file: list the quarantine to see the numbers, or leave it empty'
        end
    ]) as reasons
from rows_table as c
left join quarantine as q on q.quarantine_id = c.settles and q.table_name = $table_name
