"""Draw the README's pictures from the demonstration's dossier: run `make demo` first, then this."""

import json
import sys
from pathlib import Path

from counterproof.charts import png
from counterproof.records import Publication

HERE = Path(__file__).parent
WANTED = {
    ("background", 0): "agreement.png",
    ("background", 2): "intervals.png",
    ("source response", 0): "response.png",
    ("dose-rate ladder", 1): "factor.png",
}
"""Which chart of which trial."""


def main(dossier: Path) -> None:
    content = Publication.model_validate(json.loads(dossier.read_text(encoding="utf-8")))
    charts = {(o.trial, i): c for o in content.outcomes for i, c in enumerate(o.charts)}
    for place, name in WANTED.items():
        (HERE / name).write_bytes(png(charts[place], width=520, height=260, scale=1.5))


if __name__ == "__main__":
    main(Path(sys.argv[1] if len(sys.argv) > 1 else "hollow-lane/dossier.json"))
