"""Past one machine: partitions of readings in Parquet, fitted and forecast by workers of a Dask cluster."""

from fleetwear.partitions.cluster import ClusterParts, Keys, cluster_client
from fleetwear.partitions.fitting import PartedFit, fit_partitions, partitions_of
from fleetwear.partitions.forecasting import forecast_partitions
from fleetwear.partitions.place import Place
from fleetwear.partitions.writing import Written, write_partitions

__all__ = [
    "ClusterParts",
    "Keys",
    "PartedFit",
    "Place",
    "Written",
    "cluster_client",
    "fit_partitions",
    "forecast_partitions",
    "partitions_of",
    "write_partitions",
]
