"""Two worker processes on loopback: the same result as on one machine, a killed one costs time and nothing else."""

import os
import signal
import sys
from dataclasses import dataclass, field
from pathlib import Path
from types import ModuleType
from typing import Any

import numpy as np
import parted_fleet
import pytest
from parted_fleet import estimates, numbers
from typer.testing import CliRunner

from fleetwear.cli import app
from fleetwear.errors import StoreError
from fleetwear.partitions import (
    ClusterParts,
    Keys,
    cluster_client,
    fit_partitions,
    forecast_partitions,
    partitions_of,
)
from fleetwear.partitions.forecasting import forecast_partition
from fleetwear.wear.parts import HeldParts, moments

distributed = pytest.importorskip("distributed")


@pytest.fixture(scope="module", autouse=True)
def main_module():
    """Have worker processes begin without a main module: tests of dashboard pages leave one behind in this process."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setitem(sys.modules, "__main__", ModuleType("__main__"))
        yield


@pytest.fixture(scope="module")
def client(main_module):
    with cluster_client(workers=2) as given:
        yield given


@dataclass
class Killing:
    """Parts of a cluster of which one worker is killed while it is at one of the tasks."""

    of: ClusterParts
    task: Any
    at: int
    """Which call of the task."""
    seen: list[Any] = field(default_factory=list)
    killed: list[int] = field(default_factory=list)

    def ask(self, task, *arguments):
        if task is not self.task:
            return self.of.ask(task, *arguments)
        self.seen.append(task)
        if len(self.seen) != self.at:
            return self.of.ask(task, *arguments)
        victim = sorted(self.of.client.run(os.getpid).values())[0]
        given = self.of._given(task, arguments)
        os.kill(victim, signal.SIGKILL)
        self.killed.append(victim)
        return list(self.of.client.gather(given))

    def keep(self, task, *arguments):
        return Killing(self.of.keep(task, *arguments), self.task, self.at, self.seen, self.killed)


def all_estimates(fitted):
    return np.concatenate([estimates(fitted.fits[kind]) for kind in sorted(fitted.fits)])


@pytest.fixture
def alone(place):
    """Return what one process makes of the place: estimates and forecast."""
    parts = HeldParts(partitions_of(place))
    fitted = fit_partitions(parts)
    forecast_partitions(parts, fitted, place)
    return all_estimates(fitted), numbers(parted_fleet.forecast_of(place))


def test_workers_give_what_one_machine_gives(client, place, alone):
    parts, told = ClusterParts(client, partitions_of(place)), []
    fitted = fit_partitions(parts, on_progress=lambda *step: told.append(step))
    np.testing.assert_allclose(all_estimates(fitted), alone[0], rtol=1e-9)
    assert told[-1] == ("", 2, 2)
    for number in range(parted_fleet.PARTITIONS):
        Path(place.part("forecasts", number)).unlink()
    forecast_partitions(parts, fitted, place)
    np.testing.assert_allclose(numbers(parted_fleet.forecast_of(place)), alone[1], rtol=1e-9, atol=1e-12)


def test_a_worker_killed_while_it_fits_costs_time_and_nothing_else(client, place, alone):
    parts = Killing(ClusterParts(client, partitions_of(place)), moments, at=4)
    fitted = fit_partitions(parts)
    assert len(parts.killed) == 1
    assert parts.killed[0] not in client.run(os.getpid).values()
    np.testing.assert_allclose(all_estimates(fitted), alone[0], rtol=1e-9)


def test_a_worker_killed_while_it_forecasts_leaves_nothing_half(client, place, alone):
    client.wait_for_workers(2, timeout=60)
    fitted = fit_partitions(HeldParts(partitions_of(place)))
    parts = Killing(ClusterParts(client, partitions_of(place)), forecast_partition, at=1)
    Path(place.part("forecasts", 0) + ".1-x.unfinished").write_bytes(b"left by one that was stopped")
    told = forecast_partitions(parts, fitted, place)
    assert len(parts.killed) == 1
    assert told["partition"].tolist() == list(range(parted_fleet.PARTITIONS))
    np.testing.assert_allclose(numbers(parted_fleet.forecast_of(place)), alone[1], rtol=1e-9, atol=1e-12)
    names = {path.name for path in Path(place.root, "forecasts").iterdir()}
    assert names == {"models.parquet", "cohorts.parquet"} | {
        f"part-{n:04d}.parquet" for n in range(parted_fleet.PARTITIONS)
    }


def test_an_error_of_a_worker_is_told_as_it_is(client, place):
    Path(place.part("readings", 1)).unlink()
    with pytest.raises(StoreError, match=r"readings/part-0001\.parquet: the partition is missing") as told:
        fit_partitions(ClusterParts(client, partitions_of(place)))
    assert told.value.mend.startswith("Bring this file back, or write")


def test_the_command_works_with_a_cluster_that_somebody_runs(client, place):
    address = client.cluster.scheduler_address
    done = CliRunner().invoke(app, ["forecast-partitions", place.root, "--cluster", address, "--format", "json"])
    assert done.exit_code == 0, done.output
    assert '"kingpin"' in done.stdout
    assert "144 current series in 4 partitions" in done.stderr
    assert "does not clear" in done.stderr or "never" in done.stderr
    assert len(parted_fleet.forecast_of(place)) == 144


def test_everything_listens_on_loopback_only(client):
    import psutil

    own = psutil.Process()
    listening = [
        one.laddr.ip
        for process in [own, *own.children(recursive=True)]
        for one in process.net_connections(kind="inet")
        if one.status == psutil.CONN_LISTEN
    ]
    assert len(listening) >= 4
    assert set(listening) == {"127.0.0.1"}


def test_where_no_scheduler_is_it_is_said(monkeypatch):
    monkeypatch.setattr("fleetwear.partitions.cluster._PATIENCE_S", 1)
    with pytest.raises(StoreError, match="no scheduler answers"), cluster_client(address="tcp://127.0.0.1:9"):
        pass


def test_another_version_is_refused(client, monkeypatch):
    monkeypatch.setattr("fleetwear.__version__", "0.0.0")
    address = client.cluster.scheduler_address
    with (
        pytest.raises(StoreError, match=r"the worker has fleetwear .*, this is 0\.0\.0"),
        cluster_client(address=address),
    ):
        pass


@pytest.fixture
def tls(tmp_path):
    """Return the security of a cluster with an authority of its own, and a client's keys as files."""
    pytest.importorskip("cryptography")
    security = distributed.Security.temporary()
    names = {"authority": "tls_ca_file", "certificate": "tls_client_cert", "key": "tls_client_key"}
    for name, given in names.items():
        (tmp_path / f"{name}.pem").write_text(getattr(security, given))
    return security, Keys(**{name: tmp_path / f"{name}.pem" for name in names})


def test_a_cluster_with_tls_takes_only_those_with_keys(tls, place, alone, monkeypatch):
    security, keys = tls
    with distributed.LocalCluster(
        n_workers=1, threads_per_worker=1, processes=False, host="127.0.0.1", protocol="tls", security=security,
        dashboard_address="127.0.0.1:0", worker_dashboard_address="127.0.0.1:0",
    ) as cluster:  # fmt: skip
        address = cluster.scheduler_address
        assert address.startswith("tls://127.0.0.1")
        with cluster_client(address=address, keys=keys) as client:
            fitted = fit_partitions(ClusterParts(client, partitions_of(place)))
        np.testing.assert_allclose(all_estimates(fitted), alone[0], rtol=1e-9)
        monkeypatch.setattr("fleetwear.partitions.cluster._PATIENCE_S", 1)
        with pytest.raises(StoreError, match="no scheduler answers"), cluster_client(address=address):
            pass
