-- The ways of taking a reading that limits of a kind are stated for, the most frequent first.
select coalesce(method, 'method not recorded') || coalesce(', read at the ' || read_at, '') as way, method, read_at
from known_limits
where kind = $kind and (method is not null or read_at is not null)
group by method, read_at
order by count(*) desc, way
