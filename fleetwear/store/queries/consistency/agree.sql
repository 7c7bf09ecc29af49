insert into agreements (source, name, since, until, shift_mm, variance_ratio, stands, why, agreed_by, agreed_at)
values ($source, $name, $since, $until, $shift_mm, $variance_ratio, $stands, $why, $agreed_by, $agreed_at)
returning agreement_id
