-- The ways that were said and are not in the store.
insert into reading_ways (direction, method, support, read_at, indicator, instrument, technician, timing)
from (
    from ways_said
    except
    select direction, method, support, read_at, indicator, instrument, technician, timing
    from reading_ways
)
order by all
