"""The main job once more with numpy, scipy and OpenCV, timed beside lowsun on the same photo; run by hand.

    python3 tests/bench/beside_numpy.py target/release/lowsun PHOTO PLAN [RUNS]

It reads the photo, looks for quadrilaterals of a bank card's shape and for the pocket's border, brings the floor to true
scale, flattens it, takes the lamp's direction from the shadows' lengths, finds the line families (spectrum of the plane and of
its tiles, background, projections along every promising direction, harmonics fitted together), the long edges with their
signs, lines that bend, the colour along the lines, specks and the rim, and writes five pictures. It decides nothing: no letters'
walls, no strips and heights, no causes, no report, and where the floor lies in the end is taken from lowsun's own report.
Its clock starts after the imports; lowsun's is the whole process. Runs alternate; medians and their ratio are printed, with
the spacings that each side found.
"""

import json
import pathlib
import statistics
import subprocess
import sys
import tempfile
import time

import cv2
import numpy as np
from scipy import ndimage, optimize

BANDS = 16
HARMONICS = 8
DIRECTIONS = 10
ANGLES = 24


def linear(photo):
    """sRGB bytes to linear light (IEC 61966-2-1), float32."""
    v = np.arange(256) / 255.0
    table = np.where(v <= 0.04045, v / 12.92, ((v + 0.055) / 1.055) ** 2.4).astype(np.float32)
    return table[photo]


def card(photo):
    """Corners of quadrilaterals with the shape of a bank card (ISO/IEC 7810 ID-1), to a part of a pixel."""
    grey = cv2.cvtColor(photo, cv2.COLOR_BGR2GRAY)
    found = []
    for sigma, low in ((1.5, 20), (3.0, 10), (6.0, 5)):
        lines = cv2.Canny(cv2.GaussianBlur(grey, (0, 0), sigma), low, 3 * low)
        lines = cv2.dilate(lines, np.ones((3, 3), np.uint8))
        contours, _ = cv2.findContours(lines, cv2.RETR_LIST, cv2.CHAIN_APPROX_SIMPLE)
        for c in contours:
            if cv2.contourArea(c) < 0.002 * grey.size:
                continue
            quad = cv2.approxPolyDP(c, 0.02 * cv2.arcLength(c, True), True)
            if len(quad) != 4 or not cv2.isContourConvex(quad):
                continue
            sides = np.hypot(*np.diff(np.vstack([quad, quad[:1]])[:, 0, :].astype(float), axis=0).T)
            if abs(np.log((sides[0] + sides[2]) / (sides[1] + sides[3]))) - np.log(85.60 / 53.98) < 0.1:
                corners = quad.reshape(-1, 1, 2).astype(np.float32)
                found.append(cv2.cornerSubPix(grey, corners, (9, 9), (-1, -1), (3, 40, 1e-3)))
    return found


def border(photo):
    """The pocket's border: the largest four-sided region of strong change at three sizes, its sides placed by profiles across."""
    grey = cv2.cvtColor(photo, cv2.COLOR_BGR2GRAY).astype(np.float32)
    best = None
    for k in (4, 8, 16):
        small = cv2.resize(grey, None, fx=1 / k, fy=1 / k, interpolation=cv2.INTER_AREA)
        change = cv2.magnitude(cv2.Sobel(small, cv2.CV_32F, 1, 0), cv2.Sobel(small, cv2.CV_32F, 0, 1))
        strong = (change > np.percentile(change, 92)).astype(np.uint8)
        strong = cv2.morphologyEx(strong, cv2.MORPH_CLOSE, np.ones((7, 7), np.uint8))
        for c in cv2.findContours(strong, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_SIMPLE)[0]:
            box = cv2.minAreaRect(c)
            area = box[1][0] * box[1][1] * k * k
            if best is None or area > best[0]:
                best = (area, cv2.boxPoints(box) * k)
    corners = best[1]
    smooth = cv2.GaussianBlur(grey, (0, 0), 2)
    across = np.arange(-60, 60, 0.5)
    for a, b in zip(corners, np.roll(corners, -1, axis=0)):
        t = np.linspace(0.05, 0.95, 300)[:, None]
        p, n = a + t * (b - a), np.array([a[1] - b[1], b[0] - a[0]]) / max(np.hypot(*(b - a)), 1e-9)
        rows = ndimage.map_coordinates(smooth, [p[:, 1:] + n[1] * across, p[:, :1] + n[0] * across], order=1, mode="nearest")
        np.median(across[np.argmax(np.abs(np.gradient(rows, axis=1)), axis=1)])
    return corners


def lamp(luma, mask, used, step):
    """Direction in which the dark stretches are most alike in length, of 48."""
    k = max(1, int(0.2 / step))
    small = lambda a: cv2.resize(a.astype(np.float32), None, fx=1 / k, fy=1 / k, interpolation=cv2.INTER_AREA)
    dark = (small(mask) > 0.5) & (small(luma) < 0.35 * np.median(luma[used > 0]))
    h, w = dark.shape
    side = int(np.hypot(h, w))
    best = (np.inf, 0.0)
    for i in range(48):
        turn = cv2.getRotationMatrix2D((w / 2, h / 2), i * 7.5, 1.0)
        turn[:, 2] += side / 2 - np.array([w, h]) / 2
        rows = cv2.warpAffine(dark.astype(np.uint8), turn, (side, side), flags=cv2.INTER_NEAREST)
        flips = np.diff(np.pad(rows, ((0, 0), (1, 1))).astype(np.int8), axis=1)
        length = np.nonzero(flips == -1)[1] - np.nonzero(flips == 1)[1]
        length = length[length > 3]
        if len(length) > 20:
            spread = np.subtract(*np.percentile(length, (75, 25))) / np.median(length)
            best = min(best, (spread, i * 7.5))
    return best[1]


def tiles(rel, used):
    """Student's t of the power of overlapping tiles over its surroundings, at two sizes: lines that are out of step."""
    found = []
    for share in (0.4, 0.2):
        n = int(share * min(np.ptp(np.nonzero(used), axis=1)))
        window = np.outer(np.hanning(n), np.hanning(n)).astype(np.float32)
        logs = []
        for y in range(0, rel.shape[0] - n, n // 2):
            for x in range(0, rel.shape[1] - n, n // 2):
                if used[y:y + n, x:x + n].mean() > 0.7:
                    power = np.log(np.abs(np.fft.rfft2(rel[y:y + n, x:x + n] * window)) ** 2 + 1e-9).astype(np.float32)
                    logs.append(power - cv2.blur(power, (9, 9)))
        if len(logs) > 3:
            mean, spread = np.mean(logs, axis=0), np.std(logs, axis=0, ddof=1)
            found.append(float((mean / np.maximum(spread / np.sqrt(len(logs)), 1e-6)).max()))
    return found


def rectify(photo, px, mm):
    """The floor at the photo's own resolution: image, mask, millimetres per sample."""
    px, mm = np.asarray(px, np.float64), np.asarray(mm, np.float64)
    area = lambda p: 0.5 * abs(np.dot(p[:, 0], np.roll(p[:, 1], 1)) - np.dot(p[:, 1], np.roll(p[:, 0], 1)))
    step = np.sqrt(area(mm) / area(px))
    low = mm.min(axis=0) - 2.0
    size = np.ceil((mm.max(axis=0) + 2.0 - low) / step).astype(int)
    to_grid, _ = cv2.findHomography(px, (mm - low) / step)
    grid = cv2.warpPerspective(photo, to_grid, tuple(int(v) for v in size), flags=cv2.INTER_CUBIC)
    mask = np.zeros(size[::-1], np.uint8)
    cv2.fillPoly(mask, [np.round((mm - low) / step).astype(np.int32)], 1)
    return grid, mask, step, (mm - low) / step


def lit(luma, mask, step):
    """Shadows, letters and what is burnt out, off the mask."""
    inside = luma[mask > 0]
    usual = np.median(inside)
    used = (mask > 0) & (cv2.GaussianBlur(luma, (0, 0), 3) > 0.45 * usual) & (luma < 0.98)
    used = cv2.morphologyEx(used.astype(np.uint8), cv2.MORPH_OPEN, np.ones((5, 5), np.uint8))
    count, label, stats, _ = cv2.connectedComponentsWithStats(used)
    if count > 1:
        used = (label == 1 + np.argmax(stats[1:, cv2.CC_STAT_AREA])).astype(np.uint8)
    margin = max(1, int(0.3 / step))
    return cv2.erode(used, np.ones((2 * margin + 1, 2 * margin + 1), np.uint8))


def flat(luma, used, sigma):
    """Brightness over its local mean, less one."""
    k = max(1, int(sigma / 6))
    small = lambda a: cv2.resize(a, None, fx=1 / k, fy=1 / k, interpolation=cv2.INTER_AREA)
    weight = used.astype(np.float32)
    num, den = (cv2.GaussianBlur(small(a), (0, 0), sigma / k) for a in (luma * weight, weight))
    mean = cv2.resize(num / np.maximum(den, 1e-4), luma.shape[::-1], interpolation=cv2.INTER_LINEAR)
    return np.where(used > 0, luma / np.maximum(mean, 1e-6) - 1, 0).astype(np.float32)


def taper(used, ramp):
    soft = cv2.blur(used.astype(np.float32), (int(ramp) | 1,) * 2)
    t = np.clip(2 * soft - 1, 0, 1)
    return np.where(used > 0, t * t * (3 - 2 * t), 0).astype(np.float32)


def quality(luma, used):
    """Noise (Immerkaer 1996), sharpness and clipping, as the fitness of the photo."""
    kernel = np.array([[1, -2, 1], [-2, 4, -2], [1, -2, 1]], np.float32)
    noise = np.abs(cv2.filter2D(luma, -1, kernel))[used > 0].mean() * np.sqrt(np.pi / 2) / 6
    gx, gy = cv2.Sobel(luma, cv2.CV_32F, 1, 0), cv2.Sobel(luma, cv2.CV_32F, 0, 1)
    return noise, np.percentile(cv2.magnitude(gx, gy)[used > 0], 99), float((luma > 0.98).mean())


def stack(values, weights, angle, step):
    """Sums across (bins) and along (bands) for lines whose normal lies at `angle`, radians."""
    h, w = values.shape
    c, s = np.cos(angle), np.sin(angle)
    x, y = np.arange(w, dtype=np.float32) - w / 2, np.arange(h, dtype=np.float32) - h / 2
    t, u = x[None, :] * np.float32(c) + y[:, None] * np.float32(s), y[:, None] * np.float32(c) - x[None, :] * np.float32(s)
    some = weights > 0
    t, u, v, k = t[some], u[some], values[some], weights[some]
    bins = int(2 * (t.max() - t.min())) + 2
    i = ((t - t.min()) * 2).astype(np.int32)
    b = np.minimum(((u - u.min()) * (BANDS / (u.max() - u.min() + 1e-6))).astype(np.int32), BANDS - 1)
    at = b * bins + i
    total = np.bincount(at, weights=v * k, minlength=BANDS * bins).reshape(BANDS, bins)
    weight = np.bincount(at, weights=k, minlength=BANDS * bins).reshape(BANDS, bins)
    return total, weight, 0.5 * step


def peaks(rel, weights):
    """Points of the plane's spectrum over its local background, strongest first: (angle, cycles per sample, ratio)."""
    h, w = (cv2.getOptimalDFTSize(n) for n in rel.shape)
    spectrum = np.fft.rfft2(rel * weights, s=(h, w))
    power = np.log(np.abs(spectrum) ** 2 + 1e-9).astype(np.float32)
    small = cv2.resize(power, None, fx=0.25, fy=0.25, interpolation=cv2.INTER_AREA)
    background = cv2.resize(ndimage.median_filter(small, 9), power.shape[::-1], interpolation=cv2.INTER_LINEAR)
    ratio = power - background
    top = (ratio == cv2.dilate(ratio, np.ones((5, 5)))) & (ratio > 3.5)
    ky, kx = np.nonzero(top)
    fy = np.where(ky > h / 2, ky - h, ky) / h
    fx = kx / w
    good = np.hypot(fx, fy) * min(rel.shape) > 6
    order = np.argsort(-ratio[ky[good], kx[good]])[:200]
    return [(np.arctan2(y, x), np.hypot(x, y), r)
            for x, y, r in zip(fx[good][order], fy[good][order], ratio[ky[good], kx[good]][order])]


def comb(total, weight, dt, cells):
    """The spacing whose harmonics stand out most, and all harmonics' fit by least squares: (mm, sigma, evidence)."""
    profile = total.sum(axis=0)
    n = 4 * cv2.getOptimalDFTSize(len(profile))
    power = np.abs(np.fft.rfft(profile, n)) ** 2
    df = 1 / (n * dt)
    background = np.exp(ndimage.median_filter(np.log(power + 1e-12), 8 * cells | 1)) / np.log(2)
    ratio = np.minimum(power / background, 40)
    k = np.arange(int(6 * cells), len(power) // 2)
    best, chosen = 0.0, None
    for count in (1, 2, 3, 4, 6, 8):
        rows = k[k * count < len(power)]
        evidence = sum(ratio[rows * h] for h in range(1, count + 1)) - count - 3 * np.sqrt(count)
        if len(evidence) and evidence.max() > best:
            best, chosen = evidence.max(), rows[np.argmax(evidence)] * df
    if chosen is None or best < 15:
        return None
    t = np.arange(len(profile)) * dt
    seen = weight.sum(axis=0) > 0
    mean = np.where(seen, profile / np.maximum(weight.sum(axis=0), 1e-9), 0)[seen]
    t = t[seen] - t[seen].mean()
    count = max(1, min(HARMONICS, int(0.25 / (dt * chosen))))

    def left(f):
        phase = 2 * np.pi * f[0] * t[:, None] * np.arange(1, count + 1)
        basis = np.hstack([np.cos(phase), np.sin(phase), np.ones((len(t), 1))])
        fit, *_ = np.linalg.lstsq(basis, mean, rcond=None)
        return basis @ fit - mean

    found = optimize.least_squares(left, [chosen], x_scale=[df], diff_step=1e-6)
    sigma = np.sqrt(2 * found.cost / len(t) / max(float((found.jac ** 2).sum()), 1e-12))
    return 1 / found.x[0], sigma / found.x[0] ** 2, best


def families(rel, weights, step):
    found, looked = [], []
    for angle, _, _ in [(0.0, 0, 0), (np.pi / 2, 0, 0)] + peaks(rel, weights):
        if len(looked) >= 2 + DIRECTIONS:
            break
        if any(abs(np.sin(angle - a)) < 0.01 for a in looked):
            continue
        looked.append(angle)
        total, weight, dt = stack(rel, weights, angle, step)
        best = comb(total, weight, dt, max(1, int(4 * cv2.getOptimalDFTSize(total.shape[1]) / total.shape[1])))
        if best:
            found.append((angle, *best))
    return sorted(found, key=lambda f: -f[3])


def edges(rel, used, step):
    """Long edges along both axes: matched filter, thinned, linked, with their sign and area."""
    found = []
    length, width = int(8 / step) | 1, max(2, int(0.4 / step))
    for axis in (0, 1):
        line = np.concatenate([np.full(width, -1.0), np.full(width, 2.0), np.full(width, -1.0)]) / (4 * width)
        along = np.ones(length) / length
        kx, ky = (line, along) if axis == 0 else (along, line)
        response = cv2.sepFilter2D(rel, cv2.CV_32F, kx, ky)
        spread = 1.4826 * np.median(np.abs(response[used > 0]))
        span = np.ones((1, 2 * width + 1) if axis == 0 else (2 * width + 1, 1), np.uint8)
        strong = (np.abs(response) > 4 * spread) & (np.abs(response) == cv2.dilate(np.abs(response), span)) & (used > 0)
        count, label, stats, middles = cv2.connectedComponentsWithStats(cv2.dilate(strong.astype(np.uint8), np.ones((3, 3))))
        long_enough = np.nonzero(stats[1:, cv2.CC_STAT_HEIGHT - axis] * step > 8)[0] + 1
        for i in long_enough:
            found.append((axis, middles[i] * step, float(np.mean(response[label == i]))))
    return found


def bent(rel, used, step):
    """The strongest direction at every sample and how strong, from turned kernels."""
    k = max(1, int(0.15 / step))
    small = cv2.resize(rel, None, fx=1 / k, fy=1 / k, interpolation=cv2.INTER_AREA)
    half = int(2.0 / (step * k)) + 1
    y, x = np.mgrid[-half:half + 1, -half:half + 1].astype(np.float32)
    best, which = np.zeros_like(small), np.zeros(small.shape, np.uint8)
    for i in range(ANGLES):
        c, s = np.cos(np.pi * i / ANGLES), np.sin(np.pi * i / ANGLES)
        t, u = x * c + y * s, y * c - x * s
        kernel = (1 - t ** 2) * np.exp(-t ** 2 / 2) * np.exp(-(u / half * 2) ** 2)
        response = np.abs(cv2.filter2D(small, -1, kernel - kernel.mean()))
        better = response > best
        best, which = np.where(better, response, best), np.where(better, i, which)
    lines = best > 5 * np.median(best[best > 0])
    return cv2.connectedComponentsWithStats(lines.astype(np.uint8))[2], which


def rim(luma, outline, step):
    """Shares of the outline where the edge is ragged: profiles across it, their steepest place against its neighbours'."""
    closed = np.vstack([outline, outline[:1]])
    reach = np.concatenate([[0], np.cumsum(np.hypot(*np.diff(closed, axis=0).T))])
    at = np.arange(0, reach[-1], 2.0)
    px, py = np.interp(at, reach, closed[:, 0]), np.interp(at, reach, closed[:, 1])
    nx, ny = np.gradient(py), -np.gradient(px)
    size = np.maximum(np.hypot(nx, ny), 1e-9)
    across = np.arange(-1.0 / step, 1.0 / step, 0.5)
    rows = ndimage.map_coordinates(luma, [py[:, None] + (ny / size)[:, None] * across, px[:, None] + (nx / size)[:, None] * across],
                                   order=1, mode="nearest")
    steepest = np.argmax(np.abs(np.gradient(ndimage.gaussian_filter1d(rows, 2, axis=1), axis=1)), axis=1) * 0.5
    return float((np.abs(steepest - ndimage.median_filter(steepest, 51)) > 0.15 / step).mean())


def same_work(photo_file, px, mm, out):
    photo = cv2.imread(str(photo_file))
    card(photo)
    border(photo)
    grid, mask, step, outline = rectify(photo, px, mm)
    light = linear(grid)
    luma = light @ np.array([0.0722, 0.7152, 0.2126], np.float32)
    used = lit(luma, mask, step)
    quality(luma, used)
    from_deg = lamp(luma, mask, used, step)
    sides = np.ptp(np.nonzero(used), axis=1)
    rel = flat(luma, used, min(sides) / 8)
    weights = taper(used, min(sides) / 4)
    found = families(rel, weights, step)
    out_of_step = tiles(rel, used)
    edge = edges(rel, used, step)
    bent(rel, used, step)
    ratio = np.where(used > 0, light[..., 2] / np.maximum(light[..., 0], 1e-4), 0).astype(np.float32)
    tint = flat(ratio, used, min(sides) / 8)
    for f in found[:3]:
        stack(tint, weights, f[0], step)
    specks = np.abs(rel - cv2.medianBlur(rel, 5)) > 0.5
    cv2.connectedComponentsWithStats((specks & (used > 0)).astype(np.uint8))
    ragged = rim(luma, outline, step)
    k = max(1, max(photo.shape) // 1600)
    small = photo[::k, ::k].copy()
    cv2.polylines(small, [np.round(np.asarray(px) / k).astype(np.int32)], True, (0, 200, 255), 2)
    marked = grid.copy()
    for axis, (x, y), sign in edge:
        a = (int(x / step), int(y / step))
        cv2.circle(marked, a, 5, (0, 0, 255) if sign > 0 else (255, 0, 0), 2)
    relief = np.clip(128 + 400 * rel, 0, 255).astype(np.uint8)
    for name, picture in (("photo", small), ("grid", grid), ("marks", marked), ("relief", relief), ("used", 255 * used)):
        cv2.imwrite(str(out / f"{name}.jpg"), picture, [cv2.IMWRITE_JPEG_QUALITY, 85])
    (out / "marks.json").write_text(json.dumps({"families": [list(map(float, f)) for f in found], "edges": len(edge), "ragged": ragged,
                                               "lamp_deg": from_deg, "out_of_step": out_of_step}))
    return found


def main():
    program, photo, plan = sys.argv[1:4]
    runs = int(sys.argv[4]) if len(sys.argv) > 4 else 5
    ours, theirs = [], []
    with tempfile.TemporaryDirectory() as folder:
        folder = pathlib.Path(folder)
        for i in range(runs):
            start = time.perf_counter()
            subprocess.run([program, "inspect", photo, "--plan", plan, "--out", folder / f"ours-{i}"], check=True,
                           stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
            ours.append(time.perf_counter() - start)
            report = json.loads((folder / f"ours-{i}" / "report.json").read_text())
            floor = report["floor"]
            out = folder / f"theirs-{i}"
            out.mkdir()
            start = time.perf_counter()
            found = same_work(photo, floor["outline_px"], floor["outline_mm"], out)
            theirs.append(time.perf_counter() - start)
    a, b = statistics.median(ours), statistics.median(theirs)
    spacing = lambda rows: ", ".join(f"{v:.3f}" for v in rows[:3]) or "none"
    print(f"{pathlib.Path(photo).name}: lowsun {a:.2f} s, numpy {b:.2f} s, ratio {b / a:.2f}; spacing, mm: lowsun "
          f"{spacing([f['pitch_mm']['value'] for f in report['marks']['families']])}, numpy {spacing([f[1] for f in found])}")


if __name__ == "__main__":
    main()
