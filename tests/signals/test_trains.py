"""What pulse trains, count logs and reading logs refuse to be."""

import numpy as np
import pytest

from counterproof.signals.trains import CountLog, PulseTrain, ReadingLog


@pytest.mark.parametrize(
    "times, said",
    [
        ([0.0, np.nan, 2.0], "finite"),
        ([np.nan], "finite"),
        ([0.0, 1.0, np.nan], "finite"),
        ([0.0, np.inf], "finite"),
        ([-np.inf, 1.0], "finite"),
        ([[0.0, 1.0]], "flat"),
        ([0.0, 2.0, 1.0], "ascend"),
        ([-0.1, 1.0], "ascend"),
        ([1.0, 3.1], "ascend"),
    ],
)
def test_impossible_trains(times, said):
    with pytest.raises(ValueError, match=said):
        PulseTrain(np.array(times), 3.0)


def test_live_time_leaves_gaps_out():
    train = PulseTrain(np.array([0.0, 1.0, 1.0, 3.0]), 3.0, gaps_s=np.array([[1.5, 2.0]]))
    assert (train.count, train.live_s) == (4, 2.5)
    assert PulseTrain(np.empty(0), 3.0).count == 0


def test_impossible_logs():
    one, two = np.ones(1), np.array([1.0, 2.0])
    with pytest.raises(ValueError, match="one shape"):
        CountLog(one, two, np.ones(1, np.int64))
    with pytest.raises(ValueError, match="positive"):
        CountLog(one, one * 0, np.ones(1, np.int64))
    with pytest.raises(ValueError, match="ascend"):
        CountLog(two[::-1], two, np.ones(2, np.int64))
    with pytest.raises(ValueError, match="one length"):
        ReadingLog(one, two, "dose_rate", "µSv/h")
    with pytest.raises(ValueError, match="ascend"):
        ReadingLog(two[::-1], two, "dose_rate", "µSv/h")
