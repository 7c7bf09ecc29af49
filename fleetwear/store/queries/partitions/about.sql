select layout, partitions, as_of, known_by, made_at, program_version
from read_parquet($file)
