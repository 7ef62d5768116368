#!/usr/bin/env python3
"""Floors by brute force, for tests/expect.rs: the cutter's bottom stamped on a fine grid along every pass, the lowest kept.

    python3 tests/truth/stamp.py

writes stamp.json beside this script. Needs numpy. Pocket frame: x along the width, y down, seen from above; the spindle
turns clockwise. What a cutter meets is read off the grid itself, at each place along the passes.
"""

import json
import pathlib
import platform

import numpy as np

HERE = pathlib.Path(__file__).parent
G = 0.05  # grid, mm
STEP = 0.1  # from stamp to stamp, mm
W, H = 40.0, 30.0

# Al6082-T6, chip 0.05 mm, per mm of depth (Chin. J. Mech. Eng. 2021, doi 10.1186/s10033-021-00536-9, table 5).
KT, KTE, KR, KRE, KA, KAE = 631 * 0.05, 13.0, 99 * 0.05, 10.0, 273 * 0.05, 2.8


def grid():
    y, x = np.mgrid[0 : round(H / G), 0 : round(W / G)]
    return (x + 0.5) * G, (y + 0.5) * G


X, Y = grid()


def nose(kind, rho, r, corner):
    if kind == "ball":
        return 1e3 * (r - np.sqrt(np.maximum(r * r - rho * rho, 0)))
    if kind == "bull":
        e = np.maximum(rho - (r - corner), 0)
        return 1e3 * (corner - np.sqrt(np.maximum(corner * corner - e * e, 0)))
    return np.zeros_like(rho)


def meets(removed, at, heading, r):
    """Mean axial force and force to the left, as shares of those of a full-width cut, by summing over the front."""
    n = 1440
    phi = (np.arange(n) + 0.5) * np.pi / n
    left = np.array([heading[1], -heading[0]])
    q = at + (r + 0.3 * G) * (np.cos(phi)[:, None] * left + np.sin(phi)[:, None] * np.asarray(heading))
    i = np.floor(q[:, 0] / G).astype(int)
    j = np.floor(q[:, 1] / G).astype(int)
    inside = (i >= 0) & (j >= 0) & (i < removed.shape[1]) & (j < removed.shape[0])
    stock = np.ones(n, bool)
    stock[inside] = ~removed[j[inside], i[inside]]
    d = np.pi / n
    s, c = np.sin(phi), np.cos(phi)
    axial = np.sum((KA * s + KAE)[stock]) * d / (2 * KA + np.pi * KAE)
    side = np.sum(((KT * s + KTE) * s - (KR * s + KRE) * c)[stock]) * d / (KT * np.pi / 2 + 2 * KTE)
    return axial, side, np.sum(s[stock]) * d / 2


def run(lanes, d, kind="flat", corner=0.0, rise=0.0, tilt=(0.0, 0.0), lean=0.0):
    """Heights over the grid, micrometres; NaN where no pass reached. Also the mean of what each lane met halfway."""
    r = d / 2
    z = np.full(X.shape, np.inf)
    removed = np.zeros(X.shape, bool)
    middles = []
    for lane in lanes:
        for a, b in zip(lane[:-1], lane[1:]):
            a, b = np.array(a, float), np.array(b, float)
            length = np.hypot(*(b - a))
            if length < 1e-9:
                continue
            h = (b - a) / length
            n = int(np.ceil(length / STEP))
            for k in range(n + 1):
                at = a + h * (length * k / n)
                axial, side, width = meets(removed, at, h, r) if rise or lean else (0, 0, 0)
                if k == n // 2:
                    middles.append([axial, side, width])
                slope = np.array(tilt) + np.array([h[1], -h[0]]) * lean * side
                i0, i1 = max(int((at[0] - r) / G) - 1, 0), int((at[0] + r) / G) + 2
                j0, j1 = max(int((at[1] - r) / G) - 1, 0), int((at[1] + r) / G) + 2
                dx, dy = X[j0:j1, i0:i1] - at[0], Y[j0:j1, i0:i1] - at[1]
                rho = np.hypot(dx, dy)
                under = nose(kind, rho, r, corner) + rise * axial
                if kind != "ball":
                    under = under + slope[0] * dx + slope[1] * dy
                cover = rho <= r
                part = z[j0:j1, i0:i1]
                part[cover] = np.minimum(part, under)[cover]
                removed[j0:j1, i0:i1] |= cover
    return np.where(np.isfinite(z), z, np.nan), middles


def straight(d, s, both_ways):
    r = d / 2
    ys = list(np.arange(r, H - r - 1e-9, s)) + [H - r]
    rows = [[(r, y), (W - r, y)] for y in ys]
    if not both_ways:
        return rows
    lane = []
    for k, row in enumerate(rows):
        lane += row if k % 2 == 0 else row[::-1]
    return [lane]


def loops(d, s):
    """From the wall inwards, clockwise on the page: the stock is on the right."""
    r = d / 2
    half = min(W, H) / 2
    insets = list(np.arange(r, half - 1e-9, s))
    if half - insets[-1] > r:
        insets.append(half)
    return [[(i, i), (W - i, i), (W - i, H - i), (i, H - i), (i, i)] for i in insets]


def probes(z, count, seed):
    rng = np.random.default_rng(seed)
    out = []
    while len(out) < count:
        j, i = int(rng.integers(z.shape[0])), int(rng.integers(z.shape[1]))
        if np.isfinite(z[j, i]):
            out.append([round(X[j, i], 4), round(Y[j, i], 4), round(float(z[j, i]), 4)])
    return out


def main():
    cases = {}

    def case(name, lanes, seed, **kw):
        z, middles = run(lanes, **kw)
        middle = int(W / 2 / G)
        rows = [k for k in range(0, z.shape[0], 4) if np.isfinite(z[k, middle])]
        section = [[round(Y[k, middle], 4), round(float(z[k, middle]), 4)] for k in rows]
        cases[name] = {
            **kw,
            "middle_x": round(X[0, middle], 4),
            "section": section,
            "probes": probes(z, 200, seed),
            "middles": np.round(middles, 4).tolist(),
        }
        print(name, len(section))

    case("proud", straight(6.35, 4.0, False), 1, d=6.35, rise=30.0)
    case("deep", straight(6.35, 2.54, False), 2, d=6.35, rise=-30.0)
    case("saw", straight(6.35, 2.54, True), 3, d=6.35, tilt=(0.0, 1e3 * np.tan(np.radians(1.0))))
    case("dish", straight(6.35, 2.54, True), 4, d=6.35, tilt=(1e3 * np.tan(np.radians(1.0)), 0.0))
    case("ball", straight(6.0, 2.0, True), 5, d=6.0, kind="ball")
    case("bull", straight(6.35, 5.5, True), 6, d=6.35, kind="bull", corner=0.8)
    case("bent", straight(6.35, 2.54, True), 7, d=6.35, lean=5.0)
    case("loops", loops(6.35, 2.54), 8, d=6.35, rise=30.0)
    text = json.dumps(
        {
            "source": "tests/truth/stamp.py: numpy, the lowest of all stamps on a grid of 0.05 mm",
            "versions": {"python": platform.python_version(), "numpy": np.__version__},
            "size": [W, H],
            "cases": cases,
        },
        separators=(",", ":"),
    )
    (HERE / "stamp.json").write_text(text.replace('},"', '},\n"') + "\n")
    print(len(text), "bytes")


main()
