-- New rows whose visit was found out as mistaken, or withdrawn.
select
    c.n,
    'its visit of ' || c.visit_date || case
        when c.withdrawn_as is not null
            then ' was withdrawn (visit number ' || c.visit_id || '): reinstate it first'
        else ' is set aside because of its odometer value (quarantine number ' || c.aside_as
            || '): correct that row first'
    end as reason
from taken as c
where c.aside_as is not null or c.withdrawn_as is not null
order by c.n
