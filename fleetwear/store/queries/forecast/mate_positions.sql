-- Every joint position with its mate across the axle.
select own.position_id, mate.position_id as mate_id
from positions as own
join positions as mate
    on mate.model = own.model
    and mate.axle = own.axle
    and mate.kind = own.kind
    and mate.place is not distinct from own.place
    and mate.side in ('left', 'right')
    and mate.side <> own.side
where own.side in ('left', 'right')
order by own.position_id
