insert into runs (what, began_at, elapsed_seconds, outcome, said, counts, settings, version)
values ($what, $began_at, $elapsed_seconds, $outcome, $said, $counts::json, $settings::json, $version)
