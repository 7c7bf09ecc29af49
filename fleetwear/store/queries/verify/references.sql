-- Every column that refers to a row of another table: by its name, or because the schema declares it.
with homes (column_name, home, home_column) as (
    values
    ('vehicle_id', 'vehicles', 'vehicle_id'),
    ('position_id', 'positions', 'position_id'),
    ('symptom_position_id', 'positions', 'position_id'),
    ('visit_id', 'visits', 'visit_id'),
    ('last_visit_id', 'visits', 'visit_id'),
    ('limit_id', 'limits', 'limit_id'),
    ('reading_id', 'readings', 'reading_id'),
    ('way_id', 'reading_ways', 'way_id'),
    ('wheel_check_id', 'wheel_checks', 'wheel_check_id'),
    ('load_id', 'loads', 'load_id'),
    ('quarantine_id', 'quarantine', 'quarantine_id'),
    ('question_id', 'questions', 'question_id'),
    ('identity_question_id', 'identity_questions', 'identity_question_id'),
    ('fit_id', 'fits', 'fit_id'),
    ('forecast_id', 'forecasts', 'forecast_id'),
    ('backtest_id', 'backtests', 'backtest_id')
),

named as (
    select columns.table_name, columns.column_name, homes.home, homes.home_column
    from duckdb_columns() as columns
    inner join duckdb_tables() as tables
        on tables.table_oid = columns.table_oid and tables.database_oid = columns.database_oid
    inner join homes on homes.column_name = columns.column_name
    where columns.database_name = current_database() and homes.home <> columns.table_name
        and not (columns.table_name = 'reading_rows' and homes.home = 'readings')  -- which are those rows
),

declared as (
    select
        table_name,
        constraint_column_names[1] as column_name,
        referenced_table as home,
        referenced_column_names[1] as home_column
    from duckdb_constraints()
    where constraint_type = 'FOREIGN KEY' and len(constraint_column_names) = 1
        and database_name = current_database()
)

select table_name, column_name, home, home_column from named
union
select table_name, column_name, home, home_column from declared
order by table_name, column_name, home
