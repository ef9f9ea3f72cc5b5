"""One folder for the seals of all services of these tests: a meet is served again after it was
erased, and its papers are sealed by the same key."""

from __future__ import annotations

from collections.abc import Iterator

import pytest


@pytest.fixture(scope="package", autouse=True)
def one_seal_folder(tmp_path_factory: pytest.TempPathFactory) -> Iterator[None]:
    with pytest.MonkeyPatch.context() as patched:
        patched.setenv("ZONEDOCKET_SEAL_FOLDER", str(tmp_path_factory.mktemp("seal")))
        patched.setenv("ZONEDOCKET_SEAL_PASSPHRASE", "for tests")
        yield
