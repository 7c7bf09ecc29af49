-- The joints with the rank of what is said of them at an accepted risk of each kind.
select
    j.*,
    case
        when j.rank_unless_crossing < r.crosses then j.rank_unless_crossing
        when j.p_over_next > r.accepted_risk then r.crosses
        else j.rank_unless_crossing
    end as outcome_rank
from listed_joints as j
join accepted_risks as r on r.kind = j.kind
