"""Past one machine: partitions of readings in Parquet, fitted and forecast by workers of a Dask cluster.

``writing`` fills them from a store; it is not among these names, so that workers need not load what it needs.
"""

from fleetwear.partitions.cluster import ClusterParts, Keys, cluster_client
from fleetwear.partitions.fitting import PartedFit, fit_partitions, partitions_of
from fleetwear.partitions.forecasting import forecast_partitions
from fleetwear.partitions.place import Place

__all__ = [
    "ClusterParts",
    "Keys",
    "PartedFit",
    "Place",
    "cluster_client",
    "fit_partitions",
    "forecast_partitions",
    "partitions_of",
]
