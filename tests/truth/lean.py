#!/usr/bin/env python3
"""Which way a spindle leans, seen in the light on the floor it cuts; for src/explain/tests.rs.

    python3 tests/truth/lean.py

writes lean.json beside this script. Needs numpy. The end of a flat cutter is a disc of points; the whole disc is turned in
space so that the top of its axis leans to one side, and pressed along every pass; of all points that pass over a place
the lowest stays. The floor is then lit (Lambert) by a lamp far away on either side. Floor frame: x along the passes,
y across them, z up; directions in degrees from x towards y.
"""

import json
import pathlib
import platform

import numpy as np

D, STEPOVER, LEAN, CELL = 6.35, 2.54, 0.5, 0.02
SPAN = 40.0


def disc(top_to_deg):
    """Points of the cutter's end, its axis' top turned by LEAN towards a direction (Rodrigues' rotation)."""
    rho, phi = np.meshgrid(np.linspace(0, D / 2, 120), np.linspace(0, 2 * np.pi, 721))
    p = np.stack([rho * np.cos(phi), rho * np.sin(phi), 0 * rho], -1).reshape(-1, 3)
    t = np.radians(top_to_deg)
    # Turning about z x direction tips z towards the direction.
    k = np.array([-np.sin(t), np.cos(t), 0.0])
    a = np.radians(LEAN)

    def turned(v):
        return v * np.cos(a) + np.cross(k, v) * np.sin(a) + np.outer(v @ k, k) * (1 - np.cos(a))

    top = turned(np.array([[0.0, 0.0, 1.0]]))[0]
    assert top[:2] @ [np.cos(t), np.sin(t)] > 0, "the top does not lean where it should"
    return turned(p)


def floor(points):
    """Lowest point over each place across passes along x."""
    y = np.arange(0, SPAN, CELL)
    z = np.full(y.shape, np.inf)
    for centre in np.arange(0, SPAN, STEPOVER):
        at = np.floor((points[:, 1] + centre) / CELL).astype(int)
        ok = (at >= 0) & (at < len(z))
        np.minimum.at(z, at[ok], points[ok, 2])
    inside = (y > D) & (y < SPAN - 2 * D)
    return y[inside], z[inside]


def skewness(y, z, lamp_deg, elevation_deg):
    """Of the relative light: negative for thin dark lines, positive for thin bright ones."""
    slope = np.gradient(z, y)
    e, az = np.radians(elevation_deg), np.radians(lamp_deg)
    towards = np.array([np.cos(e) * np.cos(az), np.cos(e) * np.sin(az), np.sin(e)])
    normal = np.stack([0 * slope, -slope, np.ones_like(slope)], -1)
    light = np.maximum(normal @ towards / np.linalg.norm(normal, axis=1), 0)
    off = light / light.mean() - 1
    return float(np.mean(off**3) / np.mean(off**2) ** 1.5)


def main():
    rows = []
    for top in (90, 270):
        y, z = floor(disc(top))
        for lamp in (90, 270, 60, 310):
            rows.append({"top_to_deg": top, "lamp_from_deg": lamp, "skew": round(skewness(y, z, lamp, 15.0), 3)})
    out = {
        "source": "tests/truth/lean.py: a leaning disc pressed along passes along x, lit at 15 degrees",
        "versions": {"python": platform.python_version(), "numpy": np.__version__},
        "rows": rows,
    }
    text = json.dumps(out, separators=(",", ":")).replace("},{", "},\n{")
    (pathlib.Path(__file__).parent / "lean.json").write_text(text + "\n")
    print(text)


main()
