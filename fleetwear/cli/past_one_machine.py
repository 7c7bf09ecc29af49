"""Commands for fleets past one machine: partition, forecast-partitions."""

from __future__ import annotations

import sys
from enum import StrEnum
from pathlib import Path
from typing import Annotated

import typer

from fleetwear.cli.options import (
    AsOfOption,
    Form,
    FormOption,
    KnownByOption,
    StoreOption,
    as_of_day,
    in_utc,
    now,
    store_folder,
)
from fleetwear.cli.program import app
from fleetwear.cli.talk import progress, say
from fleetwear.vocabulary import CAUTION

PlaceArgument = Annotated[
    str, typer.Argument(metavar="PLACE", help='A folder, or a prefix in an object store such as "s3://bucket/fleet".')
]


class PartedShape(StrEnum):
    """The growth shapes that are fitted over partitions."""

    STRAIGHT = "straight"
    POWER = "power"


@app.command()
def partition(
    place: PlaceArgument,
    partitions: Annotated[int, typer.Option("--partitions", metavar="N", help="How many files.")] = 16,
    as_of: AsOfOption = None,
    known_by: KnownByOption = None,
    store: StoreOption = None,
) -> None:
    """Write the readings of the store as Parquet files, partitioned by a hash of the vehicle, for several machines.

    Example: fleetwear partition parts --partitions 16
    """
    from fleetwear.partitions import Place
    from fleetwear.partitions.writing import write_partitions
    from fleetwear.store import Store

    where = Place.named(place)
    written = write_partitions(
        Store(store_folder(store)),
        where,
        partitions=partitions,
        as_of=as_of_day(as_of),
        known_by=in_utc(known_by),
        made_at=now(),
        on_progress=progress(),
    )
    say(
        f"{written.readings} readings and {written.series} current series lie in {written.partitions} partitions. "
        f"Next: fleetwear forecast-partitions {place}"
    )


@app.command("forecast-partitions")
def forecast_partitions(
    place: PlaceArgument,
    cluster: Annotated[
        str | None,
        typer.Option("--cluster", metavar="ADDRESS", help="Of a Dask scheduler, such as tcp://10.0.0.5:8786."),
    ] = None,
    workers: Annotated[
        int, typer.Option("--workers", metavar="N", help="Worker processes of this machine, without --cluster.")
    ] = 2,
    shape: Annotated[PartedShape, typer.Option("--shape", help="How play grows.")] = PartedShape.STRAIGHT,
    tls_ca: Annotated[
        Path | None,
        typer.Option(
            "--tls-ca", metavar="FILE", exists=True, help="For tls:// addresses: the authority's certificate."
        ),
    ] = None,
    tls_cert: Annotated[
        Path | None, typer.Option("--tls-cert", metavar="FILE", exists=True, help="This machine's own certificate.")
    ] = None,
    tls_key: Annotated[Path | None, typer.Option("--tls-key", metavar="FILE", exists=True, help="Its key.")] = None,
    form: FormOption = Form.TABLE,
) -> None:
    """Fit and forecast partitions with the workers of a Dask cluster, or with some of this machine.

    The forecast of every partition is written beside it, in PLACE/forecasts. One shape is fitted, to measured readings;
    see the README for what this leaves out. It clears no vehicle.

    Example: fleetwear forecast-partitions parts --workers 2
    """
    from fleetwear import partitions as room
    from fleetwear.reports.tables import render

    given = (tls_ca, tls_cert, tls_key)
    if any(given) and not all(given):
        raise typer.BadParameter("give all three or none", param_hint="--tls-ca, --tls-cert, --tls-key")
    keys = room.Keys(tls_ca, tls_cert, tls_key) if tls_ca and tls_cert and tls_key else None
    where = room.Place.named(place)
    listed = room.partitions_of(where)
    with room.cluster_client(address=cluster, workers=workers, keys=keys) as client:
        parts = room.ClusterParts(client, listed)
        fitted = room.fit_partitions(parts, shape=shape.value, on_progress=progress())
        told = room.forecast_partitions(parts, fitted, where)
    models = fitted.models
    if form is Form.TABLE:
        models = models[["kind", "lives", "readings", "not_measured", "of_unknown_origin", "doubt"]]
    render(models, form.value, sys.stdout.write)
    sums = told[["series", "with_model", "with_limit", "likely_over"]].sum()
    say(
        f"{sums['series']} current series in {len(told)} partitions: {sums['with_model']} with a model, "
        f"{sums['with_limit']} with a limit, {sums['likely_over']} more likely than not over it at the next service. "
        f"Written to {where.file('forecasts')}."
    )
    say(CAUTION)
