"""A made-up cutting file and what it does, by a second way: numpy on plain words, nothing of this project's code.

    python3 tests/truth/toolpath.py

writes pocket.ngc (a pocket cleared by loops from the middle outwards, in two layers and a skim) and pocket.json: lengths
by summing short chords, the passes beside each place of the floor by meeting every chord with the line across the path.
"""
import json
import math
import pathlib
import re

import numpy as np

HERE = pathlib.Path(__file__).parent
STEP, CORE, LOOPS, D = 2.4, ((30.0, 20.0), (50.0, 20.0)), 7, 6.0


def write():
    out = ["(made up: a pocket of 80 x 40 mm, rounded, 6 mm cutter)", "G21 G90 G94 G17", "T1 M6", "S16000 M3",
           "G0 X30 Y20", "Z5"]
    for z in (-1.0, -2.0, -2.2):
        (x0, y0), (x1, _) = CORE
        out += [f"G0 X{x0:g} Y{y0:g}", "Z0.5", "G1 Z0 F600", f"X{x1:g} Z{z:g}", f"X{x0:g} F1800", f"X{x1:g}"]
        for k in range(1, LOOPS + 1):
            r = STEP * k
            out += [f"G1 X{x1:g} Y{y0 - r:.3f}",
                    f"G3 X{x1 + r:.3f} Y{y0:g} J{r:.3f}",
                    f"X{x1:g} Y{y0 + r:.3f} I{-r:.3f}",
                    f"G1 X{x0:g}",
                    f"G3 X{x0 - r:.3f} Y{y0:g} J{-r:.3f}",
                    f"X{x0:g} Y{y0 - r:.3f} I{r:.3f}",
                    f"G1 X{x1:g}"]
        out += ["G0 Z5"]
    return "\n".join(out + ["M5", "M30", ""])


def moves(text):
    """(rapid, turning, feed, points) of every move, points a few hundredths of a millimetre apart on arcs."""
    at, g, feed, first = np.zeros(3), 0, 0.0, True
    for line in text.splitlines():
        words = dict(re.findall(r"([XYZIJF])(-?[\d.]+)", re.sub(r"\(.*?\)", "", line)))
        for code in re.findall(r"G(\d+)", re.sub(r"\(.*?\)", "", line)):
            if int(code) in (0, 1, 2, 3):
                g = int(code)
        feed = float(words.get("F", feed))
        to = np.array([float(words.get(c, at[k])) for k, c in enumerate("XYZ")])
        if not set(words) & set("XYZ"):
            continue
        if g < 2:
            points = np.array([at, to])
        else:
            c = at[:2] + [float(words.get("I", 0)), float(words.get("J", 0))]
            a0, a1 = (math.atan2(*(p[:2] - c)[::-1]) for p in (at, to))
            turn = (a1 - a0) % (2 * math.pi) if g == 3 else -((a0 - a1) % (2 * math.pi))
            t = a0 + np.linspace(0, 1, 400) * turn
            r = np.hypot(*(at[:2] - c))
            points = np.c_[c[0] + r * np.cos(t), c[1] + r * np.sin(t), np.linspace(at[2], to[2], 400)]
        yield g == 0, {2: -1, 3: 1}.get(g, 0), feed, points, first
        at, first = to, False


def length(points):
    return float(np.linalg.norm(np.diff(points, axis=0), axis=1).sum())


def beside(a, b, places):
    """For every place (p, unit heading, index of its chord): per side (distance, same way, earlier) or None."""
    d = b - a
    unit = d / np.linalg.norm(d, axis=1)[:, None]
    for p, h, own in places:
        sides = []
        for n in (np.array([-h[1], h[0]]), np.array([h[1], -h[0]])):
            det = d[:, 0] * n[1] - d[:, 1] * n[0]
            with np.errstate(divide="ignore", invalid="ignore"):
                rel = a - p
                t = (d[:, 0] * rel[:, 1] - d[:, 1] * rel[:, 0]) / det
                u = (n[0] * rel[:, 1] - n[1] * rel[:, 0]) / det
            hit = (np.abs(det) > 1e-9) & (u >= 0) & (u <= 1) & (t > 0.02) & (t <= D)
            k = np.where(hit)[0]
            if len(k) == 0:
                sides.append(None)
                continue
            alongside = np.abs(unit[k] @ h) >= 0.9
            earlier = bool((alongside & (k < own)).any())
            k = k[np.argmin(t[k])]
            cos = float(unit[k] @ h)
            sides.append((float(t[k]), cos > 0, earlier) if abs(cos) >= 0.9 else None)
        yield sides


def main():
    text = write()
    (HERE / "pocket.ngc").write_text(text)
    all_moves = list(moves(text))
    total = lambda keep: sum(length(m[3]) for m in all_moves if keep(m))
    cuts = [m for m in all_moves if not m[0]]
    floor = [m[3][:, :2] for m in cuts if np.ptp(m[3][:, 2]) < 1e-9 and abs(m[3][0, 2] + 2.2) < 1e-9]
    a = np.vstack([p[:-1] for p in floor])
    b = np.vstack([p[1:] for p in floor])
    keep = np.linalg.norm(b - a, axis=1) > 1e-9
    a, b = a[keep], b[keep]
    l = np.linalg.norm(b - a, axis=1)
    ends = np.cumsum(l)
    n = 4001
    s = (np.arange(n) + 0.5) / n * ends[-1]
    k = np.searchsorted(ends, s)
    h = (b - a)[k] / l[k][:, None]
    p = a[k] + h * (s - (ends[k] - l[k]))[:, None]
    looks = list(beside(a, b, zip(p, h, k)))
    distances = np.array([q[0] for sides in looks for q in sides if q])
    left = sum(1 for L, R in looks if (L and L[2]) and not (R and R[2]))
    right = sum(1 for L, R in looks if (R and R[2]) and not (L and L[2]))
    first = sum(1 for L, R in looks if (L or R) and not (L and L[2]) and not (R and R[2]))
    near = np.abs(distances / STEP - 1) < 0.02
    out = {
        "numpy": np.__version__,
        "line_mm": sum(length(m[3]) for m in cuts if m[1] == 0),
        "counterclockwise_mm": sum(length(m[3]) for m in cuts if m[1] > 0),
        "rapid_mm": total(lambda m: m[0] and not m[4] and m is not all_moves[1]),
        "cut_min": sum(length(m[3]) / m[2] for m in cuts),
        "floor_mm": float(ends[-1]),
        "spacing_mm": float(np.median(distances[near])),
        "spacing_share": float(near.mean()),
        "climb_share": left / (left + right),
        "full_width_mm": first / n * float(ends[-1]),
        "box_mm": [*(float(v) for v in np.r_[np.minimum(a, b).min(0), np.maximum(a, b).max(0)])],
    }
    (HERE / "pocket.json").write_text(json.dumps(out, indent=1) + "\n")
    print(json.dumps(out, indent=1))


main()
