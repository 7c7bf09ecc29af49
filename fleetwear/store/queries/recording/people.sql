-- The technicians and shops on record, the most frequent of the last two years first.
select 'technician' as what, technician as name, count(*) as visits
from visit_details
where technician is not null and visit_date > $on_date::date - 730
group by technician
union all
select 'shop', shop, count(*)
from visit_details
where shop is not null and visit_date > $on_date::date - 730
group by shop
order by what, visits desc, name
