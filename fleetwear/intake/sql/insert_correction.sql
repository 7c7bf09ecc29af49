insert into corrections (
    correction_id, table_name, row_id, new_row_id, action, changes, why, corrected_by, corrected_at, load_id,
    source_row, row_key
)
values (
    $correction_id, $table_name, $row_id, $new_row_id, $action, $changes, $why, $corrected_by, $corrected_at, $load_id,
    $source_row, $row_key
)
