"""The bench on disk: the only writer of a workshop's record.

What to use when:

- ``Bench.create(folder)`` and ``Bench.open(folder)`` give a :class:`Bench`; ``add``, ``get``,
  ``list``, ``names``, ``amend``, ``delete``, ``history`` and ``restore`` work alike on kit items
  and records;
- ``add_run`` stores a finished run with its signals, ``start_live`` one that is being recorded;
- ``load_train``, ``load_count_logs`` and ``load_reading_logs`` give a run's signals back;
- :func:`check` tells whether everything is whole, :func:`export_bench` and :func:`import_bench`
  carry a bench elsewhere as one file.
"""

from counterproof.bench.check import CheckReport, check
from counterproof.bench.codec import id_of, kind_of
from counterproof.bench.exchange import export_bench, import_bench
from counterproof.bench.items import Revision
from counterproof.bench.live import LiveRun
from counterproof.bench.store import Bench

__all__ = [
    "Bench",
    "CheckReport",
    "LiveRun",
    "Revision",
    "check",
    "export_bench",
    "id_of",
    "import_bench",
    "kind_of",
]
