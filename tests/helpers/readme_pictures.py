"""The README's pictures, taken anew from a demonstration: ``lostpol demo`` first, then

``python tests/helpers/readme_pictures.py lostpol_demo`` (for that it needs Chromium).
"""

import sys
from pathlib import Path

from chromium import CHROMIUM
from desks import desk_for, running
from playwright.sync_api import sync_playwright

from pipeline.cli import app
from pipeline.mill.description import load_mill
from pipeline.store.folders import dossier_home, store_of

HOME = Path(__file__).parents[2] / "sample_parquet" / "messy_mill" / "pictures"
#: Name, width and height of the window.
PICTURES = {"night": (860, 900), "dossier": (1000, 1070), "desk": (1280, 1000)}
#: They are looked at small: a little less than full size keeps each under 200,000 bytes.
_SCALE = 0.9
#: The README's, beside those of the tutorial.
NAMES = {what: f"demo_{what}.png" for what in PICTURES}


def take(store: Path) -> None:
    """Take the three pictures of a demonstration that lies in a folder."""
    mill = load_mill(store / "demo_mill.toml")
    worst = store_of(mill).findings().sort("rank", nulls_last=True)["finding_id"][0]
    if app.run(["explain", str(mill.config_path), worst]) != 0:
        sys.exit("The dossier was not written.")
    night = max(mill.reports_path.glob("20*/nightly.html"))
    dossier = next((dossier_home(mill) / worst).glob("*.html"))
    with running(desk_for([mill])) as desk, sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=CHROMIUM, args=["--no-sandbox"])
        places = {"night": night.as_uri(), "dossier": dossier.as_uri(), "desk": desk}
        for what, (width, height) in PICTURES.items():
            page = browser.new_page(
                viewport={"width": width, "height": height}, device_scale_factor=_SCALE
            )
            page.goto(places[what], wait_until="networkidle")
            (HOME / NAMES[what]).write_bytes(page.screenshot())
            page.close()
        browser.close()


if __name__ == "__main__":
    take(Path(sys.argv[1]))
