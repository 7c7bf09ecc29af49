-- The technicians, shops and indicators (by their numbers) on record, the most frequent of the last two years first.
select 'technician' as what, technician as name, count(*) as visits
from visit_details
where technician is not null and visit_date > $on_date::date - 730
group by technician
union all
select 'shop', shop, count(*)
from visit_details
where shop is not null and visit_date > $on_date::date - 730
group by shop
union all
select 'instrument', r.instrument, count(distinct r.visit_id)
from readings as r
join visits as v on v.visit_id = r.visit_id
where r.instrument is not null and v.visit_date > $on_date::date - 730
group by r.instrument
order by what, visits desc, name
