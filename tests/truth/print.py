"""Is what comes out of the printer what the card says? Run by hand: the sheets that `lowsun card` writes are turned into
pictures by pdftoppm (poppler), and every saddle corner and both bars are measured there and compared with the places the
SVG of the same run names. Writes print.json beside this file, and the picture of the printed pocket card that made scenes
can take in place of the drawing.

    cargo build --release && python3 tests/truth/print.py target/release/lowsun target/print-check

Needs numpy, OpenCV (cornerSubPix) and poppler's pdftoppm; print.json says which versions were used.
"""

import json
import pathlib
import re
import subprocess
import sys

import cv2
import numpy as np

HERE = pathlib.Path(__file__).parent
DPI = 300
MM = 25.4 / DPI
PICTURE_DPI = 600


def rectangles(svg):
    paths = re.findall(r' d="([^"]*)"', svg)
    one = re.compile(r"M([\d.]+) ([\d.]+)h([\d.]+)v([\d.]+)h-[\d.]+z")
    return [[tuple(map(float, m)) for m in one.findall(p)] for p in paths]


def corners(cells):
    """Where two black squares touch at their corners."""
    key = lambda x, y: (round(x, 3), round(y, 3))
    first = {key(x, y) for x, y, w, h in cells}
    found = set()
    for x, y, w, h in cells:
        if key(x + w, y + h) in first:
            found.add((x + w, y + h))
        if key(x - w, y + h) in first:
            found.add((x, y + h))
    return np.array(sorted(found))


def bar(page, ink, axis):
    """Length between the middles of the end lines: centre of gravity of the ink across each of them."""
    ends = []
    for x, y, w, h in (ink[0], ink[10]):
        centre = np.array([x + w / 2, y + h / 2]) / MM
        across = np.arange(-10, 11)
        # Half-way out to the line's tip, away from the bar itself.
        out = np.array([0, 2.0 / MM]) if axis == 0 else np.array([2.0 / MM, 0])
        i, j = np.floor(centre + out).astype(int)
        row = page[j, i + across] if axis == 0 else page[j + across, i]
        dark = 1 - row / 255.0
        base = i if axis == 0 else j
        ends.append((base + 0.5 + (dark * across).sum() / dark.sum()) * MM)
    return ends[1] - ends[0]


def check(program, folder, form, paper):
    run = [program, "card", "--form", form, "--paper", paper, "--out", str(folder), "--overwrite"]
    subprocess.run(run, check=True, stdout=subprocess.DEVNULL)
    name = folder / f"lowsun-card-{form}-{paper}"
    subprocess.run(["pdftoppm", "-r", str(DPI), "-gray", "-singlefile", "-png", f"{name}.pdf", str(name)], check=True)
    page = cv2.imread(f"{name}.png", cv2.IMREAD_GRAYSCALE)
    card, bar_x, bar_y = rectangles(pathlib.Path(f"{name}.svg").read_text())
    where = corners([r for r in card if r[2] == 4 and r[3] == 4])
    # A place in mm is at mm / MM on the page and, by the pixels' middles, half a pixel less in the picture's numbers.
    start = (where / MM - 0.5).astype(np.float32).reshape(-1, 1, 2)
    stop = (cv2.TERM_CRITERIA_EPS + cv2.TERM_CRITERIA_MAX_ITER, 60, 1e-4)
    found = cv2.cornerSubPix(page, start.copy(), (9, 9), (-1, -1), stop).reshape(-1, 2)
    off = (found + 0.5) * MM - where
    apart = off - off.mean(axis=0)
    return {
        "form": form,
        "paper": paper,
        "corners": len(where),
        "mean_offset_mm": [round(float(v), 4) for v in off.mean(axis=0)],
        "rms_about_mean_mm": round(float(np.sqrt((apart**2).sum(axis=1).mean())), 4),
        "largest_mm": round(float(np.abs(off).max()), 4),
        "bar_x_mm": round(float(bar(page, bar_x, 0)), 3),
        "bar_y_mm": round(float(bar(page, bar_y, 1)), 3),
    }


def picture(folder):
    """The pocket card of the A4 sheet as a printer of 600 dots per inch puts it down, two-valued, 2 mm round the cut."""
    k = PICTURE_DPI / 25.4
    left, top = 22.0 - 3.0, 111.0 - 3.0
    x, y, w, h = (int(round(v * k)) for v in (left, top, 90.0, 58.0))
    out = HERE / "pocket-card-600dpi"
    run = ["pdftoppm", "-r", str(PICTURE_DPI), "-mono", "-singlefile", "-png"]
    run += ["-x", str(x), "-y", str(y), "-W", str(w), "-H", str(h)]
    subprocess.run(run + [str(folder / "lowsun-card-pocket-a4.pdf"), str(out)], check=True)
    return {"file": out.name + ".png", "dpi": PICTURE_DPI, "first_px": [x, y], "card_at_mm": [22.0, 111.0]}


def main():
    program, folder = sys.argv[1], pathlib.Path(sys.argv[2])
    folder.mkdir(parents=True, exist_ok=True)
    sheets = [check(program, folder, f, p) for f in ("pocket", "corner", "frame") for p in ("a4", "letter")]
    poppler = subprocess.run(["pdftoppm", "-v"], capture_output=True, text=True).stderr.splitlines()[0]
    told = {
        "what": "saddle corners and bars of the printed sheets in pictures of 300 dpi, against the drawing",
        "versions": {"pdftoppm": poppler, "opencv": cv2.__version__, "numpy": np.__version__},
        "sheets": sheets,
        "picture": picture(folder),
    }
    (HERE / "print.json").write_text(json.dumps(told, indent=1) + "\n")
    for s in sheets:
        print(s)
    worst = max(s["largest_mm"] for s in sheets)
    bars = max(abs(s[b] - 100) for s in sheets for b in ("bar_x_mm", "bar_y_mm"))
    print(f"worst corner {worst} mm, worst bar {bars:.3f} mm off")
    assert worst < 0.05 and bars < 0.05


main()
