"""Significance of differences, for the comparison of two floors: writes differences.json beside this file.

Run with Python 3 and scipy (versions are noted in the output): python3 tests/truth/differences.py
"""

import json
import math
import pathlib
import platform

import scipy
from scipy.stats import norm

PAIRS = [(60, 6, 25, 3), (50, 5, 36, 3.6), (40, 4, 40.5, 4), (12, 3, 55, 4), (3.93, 0.01, 3.95, 0.008),
         (100, 1, 90, 1), (23.1, 4.2, 24.0, 4.1), (66.9, 12, 21, 3), (0.5, 0.2, 0.9, 0.1)]

cases = []
for before, sb, after, sa in PAIRS:
    sigma = math.hypot(sb, sa)
    z = (after - before) / sigma
    cases.append({"before": before, "before_sigma": sb, "after": after, "after_sigma": sa,
                  "sigma": sigma, "z": z, "p": 2 * norm.sf(abs(z))})
made_with = {"python": platform.python_version(), "scipy": scipy.__version__}
out = pathlib.Path(__file__).with_name("differences.json")
out.write_text(json.dumps({"made_with": made_with, "cases": cases}, indent=1) + "\n")
