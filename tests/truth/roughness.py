"""Surface figures by numpy and scipy, for tests/outside.rs: python3 tests/truth/roughness.py
With LOWSUN_CHECK_DATA=FOLDER also those of two rows of FOLDER/real/relief-x3p/SkiInfiniteFocus.x3p, a height map measured by
focus variation (from the library openGPS x3p, LGPL-3.0; read where it lies, not copied).

Written from the definitions: Gaussian filter of ISO 16610-21 (here through scipy's own Gaussian filter with the equivalent
standard deviation alpha lc / sqrt(2 pi)), Ra, Rq, Rz of ISO 4287:1997, RSm with elements of at least 10 % of Rz."""
import io, json, os, struct, zipfile
import xml.etree.ElementTree as ET
import numpy as np
import scipy
from scipy.ndimage import gaussian_filter1d
from scipy.signal import find_peaks

ALPHA = np.sqrt(np.log(2) / np.pi)


def roughness(z, dx, lc):
    sigma = ALPHA * lc / np.sqrt(2 * np.pi) / dx
    ones = gaussian_filter1d(np.ones_like(z), sigma, mode='constant', truncate=8)
    mean = gaussian_filter1d(z, sigma, mode='constant', truncate=8) / ones
    ends = int(np.ceil(lc / dx / 2))
    return (z - mean)[ends:-ends]


def figures(r, dx, lc):
    m = int(round(lc / dx))
    n = min(len(r) // m, 5)
    s = r[:n * m].reshape(n, m)
    ra, rq = np.abs(s).mean(), np.sqrt((s ** 2).mean(axis=1)).mean()
    rz = (s.max(axis=1) - s.min(axis=1)).mean()
    # Elements: label samples past the limit on either side, keep the changes from low to high, and look for the last
    # upward crossing of zero before each.
    q = r[:n * m]
    state = np.where(q > 0.1 * rz, 1, np.where(q < -0.1 * rz, -1, 0))
    idx = np.flatnonzero(state)
    ups = idx[1:][(state[idx[1:]] == 1) & (state[idx[:-1]] == -1)]
    at = []
    for u in ups:
        k = u
        while not (q[k - 1] <= 0 < q[k]):
            k -= 1
        at.append(k - 1 + q[k - 1] / (q[k - 1] - q[k]))
    return dict(ra=ra, rq=rq, rz=rz, rsm=float(np.diff(at).mean() * dx) if len(at) > 1 else None, lengths=n)


def made(seed):
    """Ridges a cutter could leave, with noise: micrometres every 0.02 mm."""
    g = np.random.default_rng(seed)
    x = np.arange(0, 60, 0.02)
    cusps = 18 * (2 * ((x / 2.31) % 1) - 1) ** 2
    wave = 25 * np.sin(2 * np.pi * x / 31)
    return np.round(cusps + wave + gaussian_filter1d(g.normal(0, 6, x.size), 3), 3)


def ski(path, row):
    z = zipfile.ZipFile(path)
    root = ET.fromstring(z.read('main.xml'))
    get = lambda tag: next(e for e in root.iter() if e.tag.endswith(tag))
    w = int(get('SizeX').text)
    dx = float(next(e for e in get('CX').iter() if e.tag.endswith('Increment')).text) * 1e3
    name = next(n for n in z.namelist() if n.endswith('.bin'))
    h = np.frombuffer(z.read(name), '<f4', count=w, offset=4 * w * row).astype(float) * 1e6
    ok = np.isfinite(h)
    h = np.interp(np.arange(w), np.flatnonzero(ok), h[ok])
    x = np.arange(w)
    return h - np.polyval(np.polyfit(x, h, 1), x), dx


out = dict(versions=dict(numpy=np.__version__, scipy=scipy.__version__), made=[], ski=[])
z = made(1)
for lc in (2.5, 8.0):
    out['made'].append(dict(dx=0.02, lc=lc, figures=figures(roughness(z, 0.02, lc), 0.02, lc)))
out['profile'] = z.tolist()
folder = os.environ.get('LOWSUN_CHECK_DATA')
here = os.path.dirname(os.path.abspath(__file__))
target = os.path.join(here, 'roughness.json')
if folder:
    path = os.path.join(folder, 'real/relief-x3p/SkiInfiniteFocus.x3p')
    for row in (200, 700):
        z, dx = ski(path, row)
        for lc in (0.25, 0.8):
            out['ski'].append(dict(row=row, dx=dx, lc=lc, figures=figures(roughness(z, dx, lc), dx, lc)))
elif os.path.exists(target):
    out['ski'] = json.load(open(target))['ski']
json.dump(out, open(target, 'w'))
