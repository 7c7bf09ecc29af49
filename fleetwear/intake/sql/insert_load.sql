insert into loads (
    load_id, file_name, sheet, sha256, table_name, rows_read, rows_in, rows_known, rows_quarantined, loaded_at,
    elapsed_seconds, version
)
values (
    $load_id, $file_name, $sheet, $sha256, $table_name, $rows_read, $rows_in, $rows_known, $rows_quarantined,
    $loaded_at, $elapsed_seconds, $version
)
