-- Fits from which another may take over, the latest first: of the same version and knowledge, whose populations were fitted
-- less than so many days before.
select f.fit_id, b.learnt_in, f.settings
from fits as f
join fit_bases as b on b.fit_id = f.fit_id
join fits as root on root.fit_id = b.learnt_in
where f.as_of <= $as_of
    and f.known_by is not distinct from $known_by::timestamp
    and f.version = $version
    and root.as_of > $as_of::date - $days::integer
order by f.fit_id desc
