"""The invented counter and source that the outlook's tests share."""

import pytest

from counterproof.kit.instrument import Instrument
from counterproof.retrofit.outlook import SourceAt
from tests.retrofit.invented import LANTERN


@pytest.fixture
def lantern():
    return Instrument.model_validate(LANTERN)


@pytest.fixture
def caesium():
    return SourceAt("cs", "caesium disc", 50.0, 0.5, 1.3, 0.05)
