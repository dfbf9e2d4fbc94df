"""Property tests run the same examples every time, and no division by 0 passes unseen."""

from collections.abc import Iterator

import numpy as np
import pytest
from hypothesis import settings

settings.register_profile("statistics", deadline=None, derandomize=True)
settings.load_profile("statistics")


@pytest.fixture(autouse=True)
def _every_division_by_0_is_told() -> Iterator[None]:
    """NumPy's own state of errors: lifelines' Kaplan-Meier switches its warnings off for all who come after."""
    with np.errstate(divide="warn", over="warn", under="ignore", invalid="warn"):
        yield
