-- New rows whose visit was found out as mistaken.
select
    c.n,
    'its visit of ' || c.visit_date || ' is set aside because of its odometer value (quarantine number '
    || c.aside_as || '): correct that row first' as reason
from checked as c
inner join taken on taken.n = c.n
where c.aside_as is not null
order by c.n
