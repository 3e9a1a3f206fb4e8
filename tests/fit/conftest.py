"""What several tests of the engine start from."""

from __future__ import annotations

import pytest

from tests.fit.sheets import KINDS, Sheet, sheet_named


@pytest.fixture(params=list(KINDS))
def sheet(request: pytest.FixtureRequest) -> Sheet:
    return sheet_named(request.param)
