"""Workers: those of a Dask cluster that somebody runs, or some of this machine's own for the time of the work."""

from __future__ import annotations

import logging
import tempfile
from contextlib import contextmanager
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import fleetwear
from fleetwear.errors import InputError, StoreError

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator
    from pathlib import Path

    from distributed import Client, Future

_LOOPBACK = "127.0.0.1"
_PATIENCE_S = 30


@dataclass(frozen=True)
class Keys:
    """What TLS needs on the coordinator's side: certificates of the authority and of this client, and its key."""

    authority: Path
    certificate: Path
    key: Path


@dataclass(frozen=True)
class ClusterParts:
    """Parts that lie in the memory of a cluster's workers, asked in the order of the partitions.

    A part is the result of a task: where its worker is lost, the cluster makes it again from the file.
    """

    client: Client
    parts: list[Any]
    """Futures of the parts; or the partitions themselves, before anything is made of them."""

    def ask(self, task: Callable[..., Any], *arguments: object) -> list[Any]:
        """Return what ``task(part, *arguments)`` gives, part by part."""
        return list(self.client.gather(self._given(task, arguments)))

    def keep(self, task: Callable[..., Any], *arguments: object) -> ClusterParts:
        """Return the same parts as what the task makes of each, kept where the part lies."""
        return ClusterParts(self.client, self._given(task, arguments))

    def _given(self, task: Callable[..., Any], arguments: tuple[object, ...]) -> list[Future]:
        given = self.client.map(_done, self.parts, task=task, arguments=arguments, pure=False, key=task.__name__)
        return list(given)


def _done(part: Any, *, task: Callable[..., Any], arguments: tuple[object, ...]) -> Any:
    return task(part, *arguments)


@contextmanager
def cluster_client(*, address: str | None = None, workers: int = 2, keys: Keys | None = None) -> Iterator[Client]:
    """Give a client of the cluster at an address, or of worker processes of this machine that end with the block.

    Parameters
    ----------
    address
        Of the scheduler, such as "tcp://10.0.0.5:8786" or "tls://10.0.0.5:8786"; None: workers of this machine, which
        listen on loopback only.
    workers
        How many of this machine's, each a process of one thread.
    keys
        For an address that begins with "tls://".

    Raises
    ------
    InputError
        If the extra is not installed, or there would be no worker.
    StoreError
        If no scheduler or worker answers there, or a worker has another version of this program.
    """
    try:
        import dask
        import distributed
    except ImportError as error:
        raise InputError(
            "work on several machines needs Dask, which is not installed",
            mend="Install the extra, in the folder of this program: pip install -e '.[cluster]'",
        ) from error
    if address is None and workers < 1:
        raise InputError(f"{workers} workers", mend="Give 1 or more.")
    # parts stay with the worker that made them: moving one costs more than waiting for its worker
    with dask.config.set({"distributed.scheduler.work-stealing": False, "distributed.comm.timeouts.connect": 10}):
        if address is None:
            with (
                tempfile.TemporaryDirectory(prefix="fleetwear-workers-", ignore_cleanup_errors=True) as scratch,
                distributed.LocalCluster(
                    n_workers=workers,
                    threads_per_worker=1,
                    processes=True,
                    host=_LOOPBACK,
                    protocol="tcp",
                    dashboard_address=f"{_LOOPBACK}:0",
                    worker_dashboard_address=f"{_LOOPBACK}:0",
                    local_directory=scratch,
                    silence_logs=logging.CRITICAL,
                ) as cluster,
                distributed.Client(cluster) as client,
            ):
                yield client
        else:
            with _connected(distributed, address, keys) as client:
                yield client


@contextmanager
def _connected(distributed: Any, address: str, keys: Keys | None) -> Iterator[Client]:
    security = None
    if keys is not None:
        security = distributed.Security(
            tls_ca_file=str(keys.authority),
            tls_client_cert=str(keys.certificate),
            tls_client_key=str(keys.key),
            require_encryption=True,
        )
    try:
        client = distributed.Client(address, security=security, timeout=_PATIENCE_S, set_as_default=False)
    except (OSError, ValueError, TypeError) as error:
        raise StoreError(
            f"no scheduler answers ({error})",
            where=address,
            mend="Start one with `dask scheduler`, or mend the address.",
        ) from error
    with client:
        try:
            client.wait_for_workers(1, timeout=_PATIENCE_S)
        except OSError as error:
            raise StoreError("the cluster has no workers", where=address, mend="Start some: `dask worker`.") from error
        _require_same_version(client, address)
        yield client


def _require_same_version(client: Client, address: str) -> None:
    try:
        versions = client.run(_version)
    except (ImportError, AttributeError) as error:
        raise StoreError(
            f"a worker cannot run this program ({error})", where=address, mend="Install the same fleetwear on all."
        ) from error
    for worker, version in sorted(versions.items()):
        if version != fleetwear.__version__:
            raise StoreError(
                f"the worker has fleetwear {version}, this is {fleetwear.__version__}",
                where=worker,
                mend="Install the same version on all.",
            )


def _version() -> str:
    return fleetwear.__version__
