"""What every test may use."""

from __future__ import annotations

import os
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING

import pytest
from hypothesis import settings

if TYPE_CHECKING:
    from partitions.dask_workers import Cluster

# No deadline: how long an example takes says nothing of its truth. The same examples on every run: a red run repeats.
settings.register_profile("gramwatt", deadline=None, derandomize=True)
settings.load_profile("gramwatt")


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Start the heavy tests first, the last of them before all: no worker waits for one at the end."""
    heavy = [item for item in items if item.get_closest_marker("heavy")]
    items[:] = [*reversed(heavy), *(item for item in items if item.get_closest_marker("heavy") is None)]


@pytest.fixture(scope="session")
def reference_data() -> Path:
    """Return the folder of open datasets; skip the test where it is absent."""
    beside = Path(__file__).resolve().parents[1].parent / "shared" / "data"
    folder = Path(os.environ.get("GRAMWATT_REFERENCE_DATA", beside))
    if not folder.is_dir():
        pytest.skip(f"no open reference data at {folder}; set GRAMWATT_REFERENCE_DATA to the folder that holds it")
    return folder


@pytest.fixture(scope="session")
def dask_cluster(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Cluster]:
    """Start a Dask scheduler with workers in processes of their own; slow to start, so all tests share it."""
    from partitions.dask_workers import two_workers

    with two_workers(tmp_path_factory.mktemp("cluster")) as made:
        yield made


@pytest.fixture
def workers(dask_cluster: Cluster) -> Cluster:
    """Return the cluster with two live workers, whatever the tests before have killed."""
    dask_cluster.complete()
    return dask_cluster
