-- The ways of taking a reading that limits of a kind are stated for, the most frequent first.
select coalesce(method, 'method not recorded') || coalesce(', read at the ' || read_at, '') as way, method, read_at
from limits
join known_loads on known_loads.load_id = limits.load_id
anti join known_superseded as gone on gone.table_name = 'limits' and gone.row_id = limits.limit_id
where kind = $kind and (method is not null or read_at is not null)
group by method, read_at
order by count(*) desc, way
