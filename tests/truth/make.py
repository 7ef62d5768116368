#!/usr/bin/env python3
"""Numbers from general-purpose reference libraries, for tests/outside.rs and tests/fit.rs.

    LOWSUN_CHECK_DATA=... python3 tests/truth/make.py

writes the JSON files beside this script. Needs numpy, scipy, opencv-python-headless and scikit-image; the chessboard
photos come from the folder that LOWSUN_CHECK_DATA names. Every random number is seeded: a second run changes nothing.
"""

import io
import json
import os
import pathlib
import platform

import cv2
import numpy as np
import scipy
import scipy.integrate
import scipy.ndimage
import scipy.optimize
import scipy.signal
import scipy.stats
import skimage
import skimage.feature
import skimage.filters
from PIL import Image

HERE = pathlib.Path(__file__).parent
VERSIONS = {
    "python": platform.python_version(),
    "numpy": np.__version__,
    "scipy": scipy.__version__,
    "opencv": cv2.__version__,
    "scikit-image": skimage.__version__,
}


def write(name, source, **values):
    text = json.dumps({"source": source, "versions": VERSIONS, **values}, separators=(",", ":"))
    (HERE / f"{name}.json").write_text(text.replace('],"', '],\n"') + "\n")
    print(name, len(text), "bytes")


def rounded(a, digits):
    return np.round(np.asarray(a, float), digits).tolist()


def chessboards():
    """Inner corners of two chessboard photos, and OpenCV's homography from the board to them."""
    folder = pathlib.Path(os.environ["LOWSUN_CHECK_DATA"]) / "real" / "checkerboards"
    board = np.array([[i * 25.0, j * 25.0] for j in range(6) for i in range(9)])
    photos = []
    for name in ["left01.jpg", "left02.jpg", "left05.jpg"]:
        grey = cv2.imread(str(folder / name), cv2.IMREAD_GRAYSCALE)
        found, corners = cv2.findChessboardCorners(grey, (9, 6))
        assert found, name
        criteria = (cv2.TERM_CRITERIA_EPS | cv2.TERM_CRITERIA_MAX_ITER, 50, 1e-4)
        corners = cv2.cornerSubPix(grey, corners, (5, 5), (-1, -1), criteria).reshape(-1, 2)
        corners = np.round(corners.astype(float), 4)
        h, _ = cv2.findHomography(board, corners, 0)
        mapped = cv2.perspectiveTransform(board.reshape(-1, 1, 2), h).reshape(-1, 2)
        rms = float(np.sqrt(((mapped - corners) ** 2).sum(1).mean()))
        photos.append({"photo": name, "corners_px": rounded(corners, 4), "mapped_px": rounded(mapped, 6),
                       "rms_px": round(rms, 6)})
    write("chessboards", "OpenCV findChessboardCorners + cornerSubPix, findHomography(method 0) on photos of its own "
          "samples (Apache-2.0); squares taken as 25 mm", board_mm=rounded(board, 1), photos=photos)


def lens():
    """Focal length and radial distortion of a real camera from seven chessboard photos together, and the corners of each."""
    folder = pathlib.Path(os.environ["LOWSUN_CHECK_DATA"]) / "real" / "checkerboards"
    board = np.array([[i * 25.0, j * 25.0, 0.0] for j in range(6) for i in range(9)], np.float32)
    criteria = (cv2.TERM_CRITERIA_EPS | cv2.TERM_CRITERIA_MAX_ITER, 50, 1e-4)
    names, seen = [], []
    for n in range(1, 8):
        grey = cv2.imread(str(folder / f"left{n:02}.jpg"), cv2.IMREAD_GRAYSCALE)
        found, corners = cv2.findChessboardCorners(grey, (9, 6))
        assert found, n
        corners = cv2.cornerSubPix(grey, corners, (5, 5), (-1, -1), criteria)
        names.append(f"left{n:02}.jpg")
        seen.append(np.round(corners, 3).astype(np.float32))
    flags = cv2.CALIB_ZERO_TANGENT_DIST | cv2.CALIB_FIX_K3 | cv2.CALIB_FIX_ASPECT_RATIO
    start = np.array([[640.0, 0, 319.5], [0, 640.0, 239.5], [0, 0, 1]])
    rms, k, d, _, _, sd, _, _ = cv2.calibrateCameraExtended(
        [board] * len(seen), seen, (640, 480), start, np.zeros(5), flags=flags
    )
    sd = sd.ravel()
    write(
        "lens",
        "OpenCV calibrateCameraExtended (no tangential terms, no k3, one focal length) on photos of its own samples "
        "(Apache-2.0); squares taken as 25 mm",
        board_mm=rounded(board[:, :2], 1),
        rms_px=round(float(rms), 4),
        focal_px=[round(float(k[0, 0]), 3), round(float(sd[:2].max()), 3)],
        centre_px=[round(float(k[0, 2]), 3), round(float(k[1, 2]), 3)],
        k1=[round(float(d.ravel()[0]), 5), round(float(sd[4]), 5)],
        k2=[round(float(d.ravel()[1]), 5), round(float(sd[5]), 5)],
        photos=[{"photo": n, "corners_px": rounded(c.reshape(-1, 2), 3)} for n, c in zip(names, seen)],
    )


def spectrum():
    """A made profile with coloured noise; numpy's spectrum and scipy's sinusoid of least squares."""
    rng = np.random.default_rng(20261125)
    n, freq, amplitude = 700, 0.0371, 0.02
    white = rng.standard_normal(n)
    red = np.empty(n)  # first-order autoregression, as grain and uneven light leave it
    last = 0.0
    for i, w in enumerate(white):
        last = 0.9 * last + w
        red[i] = last
    x = np.arange(n)
    profile = np.round(0.4 + amplitude * np.sin(2 * np.pi * freq * x + 0.7) + 0.003 * red + 2e-5 * x, 9)
    window = 0.5 - 0.5 * np.cos(2 * np.pi * x / n)
    mean = (profile * window).sum() / window.sum()
    padded = np.fft.rfft((profile - mean) * window, 4 * n)
    plain = np.fft.rfft((profile - mean) * window)

    def residual(p):
        return p[0] + p[1] * x + p[2] * np.sin(2 * np.pi * p[4] * x) + p[3] * np.cos(2 * np.pi * p[4] * x) - profile

    start = [profile.mean(), 0.0, amplitude, 0.0, np.argmax(np.abs(plain[5:])) / n + 5 / n]
    fit = scipy.optimize.least_squares(residual, start, x_scale=[1, 1e-4, 1e-2, 1e-2, 1e-4], xtol=1e-14, ftol=1e-14)
    sigma2 = (fit.fun**2).sum() / (n - 5)
    freq_sigma = float(np.sqrt(np.linalg.inv(fit.jac.T @ fit.jac)[4, 4] * sigma2))
    write("spectrum", "numpy.fft.rfft with a periodic Hann window; scipy.optimize.least_squares of offset + slope + "
          "sinusoid; profile made with numpy's default_rng(20261125)",
          profile=profile.tolist(), hann_mean=mean,
          amplitude=rounded(2 * np.abs(plain) / window.sum(), 15),
          amplitude_padded_4_first_200=rounded(2 * np.abs(padded[:200]) / window.sum(), 15),
          true_frequency=freq, fitted_frequency=float(fit.x[4]), fitted_frequency_sigma=freq_sigma,
          fitted_amplitude=float(np.hypot(fit.x[2], fit.x[3])))


def smoothing():
    """Gaussian smoothing with held borders, at two widths."""
    rng = np.random.default_rng(7)
    plane = np.round(rng.random((48, 64)), 4)
    write("smoothing", "scipy.ndimage.gaussian_filter(mode='nearest', truncate=8) on numpy's default_rng(7).random",
          width=64, height=48, plane=plane.ravel().tolist(),
          sigma_1_5=rounded(scipy.ndimage.gaussian_filter(plane, 1.5, mode="nearest", truncate=8).ravel(), 6),
          sigma_6=rounded(scipy.ndimage.gaussian_filter(plane, 6.0, mode="nearest", truncate=8).ravel(), 6))


def statistics():
    rng = np.random.default_rng(3)
    sets = []
    for n in [1, 2, 3, 10, 101, 500]:
        v = np.round(rng.standard_t(3, n), 6)
        sets.append({"values": v.tolist(), "median": float(np.median(v)),
                     "percentiles": {str(p): float(np.percentile(v, p)) for p in [0, 5, 25, 50, 90, 99.5, 100]},
                     "mad_sigma": float(1.4826 * scipy.stats.median_abs_deviation(v))})
    x = np.arange(40) * 0.7
    y = np.round(2.5 - 0.31 * x + rng.normal(0, 0.2, 40), 6)
    line = scipy.stats.linregress(x, y)
    write("statistics", "numpy.median, numpy.percentile, scipy.stats.median_abs_deviation, scipy.stats.linregress",
          sets=sets, line={"x": rounded(x, 6), "y": y.tolist(), "a": float(line.intercept), "b": float(line.slope),
                           "sigma_a": float(line.intercept_stderr), "sigma_b": float(line.stderr)})


def grating():
    """Direction and coherence of a grating by the structure tensor (Bigun and Granlund 1987)."""
    cases = []
    for degrees, period in [(30.0, 17.3), (100.0, 9.0), (0.0, 12.0)]:
        yy, xx = np.mgrid[0:256, 0:256].astype(float)
        a = np.deg2rad(degrees)
        g = np.sin(2 * np.pi * (xx * np.cos(a) + yy * np.sin(a)) / period)
        gy, gx = np.gradient(g)
        jxx, jyy, jxy = (gx * gx).sum(), (gy * gy).sum(), (gx * gy).sum()
        direction = np.rad2deg(0.5 * np.arctan2(2 * jxy, jxx - jyy)) % 180
        coherence = np.hypot(jxx - jyy, 2 * jxy) / (jxx + jyy)
        # scikit-image's tensor (Sobel derivatives, smoothed) on the same grating, as a second opinion.
        arr, arc, acc = skimage.feature.structure_tensor(g, sigma=12, order="rc")
        mid = (128, 128)
        second = np.rad2deg(0.5 * np.arctan2(2 * arc[mid], acc[mid] - arr[mid])) % 180
        cases.append({"normal_deg": degrees, "period_px": period, "direction_deg": float(direction),
                      "coherence": float(coherence), "skimage_direction_deg": float(second)})
    write("grating", "numpy.gradient over 256 x 256; scikit-image structure_tensor(sigma 12) at the middle",
          size=256, cases=cases)

GOLDEN = np.uint64(0x9E3779B97F4A7C15)


def uniform(key, n):
    """n numbers in [0, 1) from a key: splitmix64, written out so that the test makes the same profiles."""
    with np.errstate(over="ignore"):
        z = np.uint64(key) * np.uint64(0xD1342543DE82EF95) + (np.arange(n, dtype=np.uint64) + np.uint64(1)) * GOLDEN
        z = (z ^ (z >> np.uint64(30))) * np.uint64(0xBF58476D1CE4E5B9)
        z = (z ^ (z >> np.uint64(27))) * np.uint64(0x94D049BB133111EB)
        z = z ^ (z >> np.uint64(31))
    return (z >> np.uint64(11)).astype(float) * 2.0**-53


PITCH_LENGTHS = [128, 256, 512, 1024, 2048]
PITCH_SNR_DB = [-4, -1, 2, 5, 8, 11, 14, 17, 20, 23]
PITCH_TRIALS = 60


def pitch_profile(length, snr_db, trial):
    """Four harmonics (1, 1/2, 1/3, 1/4: a row of cusps) in white noise of unit sd; SNR is A^2 / (2 sd^2) of the first."""
    u = uniform(length * 1_000_000 + (snr_db + 100) * 1000 + trial, 5 + 2 * length)
    freq = 0.05 + 0.05 * u[0]
    a = np.sqrt(2 * 10 ** (snr_db / 10))
    x = np.arange(length)
    y = sum(a / h * np.cos(2 * np.pi * (h * freq * x + u[h])) for h in [1, 2, 3, 4])
    return freq, y + np.sqrt(-2 * np.log(1 - u[5::2])) * np.cos(2 * np.pi * u[6::2])


def pitch():
    """Frequency of made profiles by two usual ways: errors (rms, cycles per sample) over the same trials."""
    rows = []
    for length in PITCH_LENGTHS:
        for snr_db in PITCH_SNR_DB:
            errors = {"periodogram": [], "lomb_scargle": []}
            for trial in range(PITCH_TRIALS):
                freq, y = pitch_profile(length, snr_db, trial)
                f, p = scipy.signal.periodogram(y, window="boxcar", detrend="constant", nfft=8 * length)
                k = int(np.argmax(p))
                a, b, c = np.log(p[k - 1 : k + 2])
                errors["periodogram"].append(f[k] + 0.5 * (a - c) / (a - 2 * b + c) * f[1] - freq)
                # Within two and a half cells of the truth, which helps it where noise is strong.
                near = freq + np.arange(-80, 81) / 32 / length
                q = scipy.signal.lombscargle(np.arange(length), y - y.mean(), 2 * np.pi * near)
                k = int(np.clip(np.argmax(q), 1, 159))
                a, b, c = q[k - 1 : k + 2]
                errors["lomb_scargle"].append(near[k] + 0.5 * (a - c) / (a - 2 * b + c) / 32 / length - freq)
            rms = {k: float(f"{np.sqrt(np.mean(np.square(v))):.6g}") for k, v in errors.items()}
            rows.append({"length": length, "snr_db": snr_db, **rms})
    freq, y = pitch_profile(128, 5, 3)
    write("pitch", "scipy.signal.periodogram (8 x padded, parabola through ln power) and scipy.signal.lombscargle (fine grid "
          "about the truth, parabola); profiles by splitmix64 and Box-Muller as written in make.py",
          trials=PITCH_TRIALS, rows=rows, example={"length": 128, "snr_db": 5, "trial": 3, "frequency": freq,
                                                    "profile": rounded(y, 9)})


def brick():
    """Pitch of the courses of brick.png once its documented warp is undone, in tall strips."""
    grey = cv2.imread(str(HERE / "brick.png"), cv2.IMREAD_GRAYSCALE) / 255.0
    light = np.where(grey <= 0.04045, grey / 12.92, ((grey + 0.055) / 1.055) ** 2.4)
    warp = np.array([[0.54764, -0.00219, 0], [-0.12822, 0.54688, 0], [-0.00022, 0, 1]])
    to_px = np.array([[0, -1, 511.5], [1, 0, 0], [0, 0, 1]]) @ np.diag([0.5, 0.5, 1]) @ warp
    step, strips = 2.0, []
    for x0, x1, y0, y1 in [(20, 300, 75, 1805), (300, 600, 150, 1750), (600, 900, 220, 1700), (40, 1240, 330, 1600)]:
        w, h = (x1 - x0) // 2 + 1, (y1 - y0) // 2 + 1
        to = to_px @ np.array([[step, 0, x0], [0, step, y0], [0, 0, 1]])
        floor = cv2.warpPerspective(light, to, (w, h), flags=cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP)
        p = floor.mean(1)
        hann = 0.5 - 0.5 * np.cos(2 * np.pi * np.arange(h) / h)
        a = np.abs(np.fft.rfft((p - (p * hann).sum() / hann.sum()) * hann, 16 * h))
        k = np.arange(16 * h // 100, 16 * h // 10)
        k = k[np.argmax(a[k])]
        k = k + 0.5 * (a[k - 1] - a[k + 1]) / (a[k - 1] - 2 * a[k] + a[k + 1])
        strips.append({"window": [x0, x1, y0, y1], "pitch_px": round(float(step * 16 * h / k), 3)})
    write("brick", "OpenCV warpPerspective and numpy.fft on brick.png (see README.md)", strips=strips)


def envelope(profile_of, offsets, x):
    """The lowest of all passes at every place."""
    return np.min([profile_of(x - o) for o in offsets], axis=0)


def floors():
    """Ridges by brute force: the lowest of all passes on a fine grid, no closed form used."""
    out = []

    def height(profile_of, s):
        x = np.linspace(-s / 2, s / 2, 200_001)
        z = envelope(profile_of, [k * s for k in range(-4, 5)], x)
        return float(z.max() - z.min())

    def ball(r):
        return lambda x: np.where(np.abs(x) <= r, r - np.sqrt(np.maximum(r * r - x * x, 0)), np.inf)

    def bull(d, c):
        def z(x):
            over = np.maximum(np.abs(x) - (d / 2 - c), 0)
            return np.where(np.abs(x) <= d / 2, c - np.sqrt(np.maximum(c * c - over * over, 0)), np.inf)
        return z

    def across(d, deg):
        # A tilted flat disc seen along the pass: its lower edge is a straight line, a little narrower than D.
        t = np.deg2rad(deg)
        return lambda x: np.where(np.abs(x) <= d / 2 * np.cos(t), x * np.tan(t), np.inf)

    def along(d, deg):
        # Lowest point of the tilted disc over one place across the pass: its back edge.
        t = np.deg2rad(deg)
        return lambda x: np.where(np.abs(x) <= d / 2, -np.sqrt(np.maximum(d * d / 4 - x * x, 0)) * np.sin(t), np.inf)

    for r, s in [(3.0, 0.5), (5.0, 0.5), (1.5875, 0.3175), (3.175, 0.635), (3.175, 0.3175)]:
        out.append({"kind": "ball", "radius_mm": r, "stepover_mm": s, "height_mm": height(ball(r), s)})
    for d, c, s in [(6.35, 0.8, 2.54), (6.35, 0.8, 5.5), (12.7, 3.175, 7.0)]:
        out.append({"kind": "bull", "diameter_mm": d, "corner_mm": c, "stepover_mm": s, "height_mm": height(bull(d, c), s)})
    for d, s, t in [(6.35, 2.54, 1.0), (6.35, 2.54, 0.1), (25.4, 10.0, 0.05)]:
        out.append({"kind": "tilt-across", "diameter_mm": d, "stepover_mm": s, "tilt_deg": t,
                    "height_mm": height(across(d, t), s)})
    for d, s, t in [(25.4, 20.32, 0.0572957795), (50.8, 40.64, 0.0572957795), (6.35, 2.54, 1.0)]:
        out.append({"kind": "tilt-along", "diameter_mm": d, "stepover_mm": s, "tilt_deg": t,
                    "height_mm": height(along(d, t), s)})
    # Mean axial force of one tooth over a turn, by quadrature of its two parts (linear edge force model).
    forces = []
    for share in [0.1, 0.25, 0.4, 0.45, 0.5, 0.75, 1.0]:
        phi = np.arccos(1 - 2 * share)
        cutting = scipy.integrate.quad(np.sin, 0, phi)[0] / scipy.integrate.quad(np.sin, 0, np.pi)[0]
        edge = scipy.integrate.quad(lambda _: 1.0, 0, phi)[0] / np.pi
        forces.append({"width_over_diameter": share, "engagement_deg": float(np.rad2deg(phi)),
                       "cutting": float(cutting), "edge": float(edge)})
    write("floors", "lower envelope of nine passes on 200,001 places (numpy); quadrature of the axial force of the "
          "linear edge model (scipy.integrate.quad)", ridges=out, forces=forces)


def save_grey(name, picture):
    Image.fromarray(np.clip(np.rint(picture), 0, 255).astype(np.uint8)).save(HERE / f"{name}.png", optimize=True)


def fitness_edges():
    """A bright rectangle, five degrees askew, blurred by a known amount, plain and sharpened.

    Drawn eight times finer and averaged, so every pixel's own square is in the answer: the edge spread is a Gaussian
    (sigma) under a box of one pixel along the edge's normal. Rise and Nyquist response follow in closed form; the
    overshoot of the sharpened one from a fine one-dimensional profile.
    """
    size, fine, sigma, turn = 400, 8, 0.9, np.deg2rad(5.0)
    y, x = (np.indices((size * fine, size * fine)) + 0.5) / fine - 0.5 - (size - 1) / 2
    u, v = x * np.cos(turn) + y * np.sin(turn), y * np.cos(turn) - x * np.sin(turn)
    inside = ((np.abs(u) < 130) & (np.abs(v) < 110)).astype(np.float32)
    soft = scipy.ndimage.gaussian_filter(inside, sigma * fine, truncate=5)
    soft = soft.reshape(size, fine, size, fine).mean((1, 3))
    plain = 60 + 120 * soft
    sharpened = skimage.filters.unsharp_mask(plain / 255, radius=1.4, amount=1.0, preserve_range=True) * 255
    corners = [[a * 130 * np.cos(turn) - b * 110 * np.sin(turn) + (size - 1) / 2,
                a * 130 * np.sin(turn) + b * 110 * np.cos(turn) + (size - 1) / 2]
               for a, b in [(-1, -1), (1, -1), (1, 1), (-1, 1)]]
    save_grey("edge-plain", plain)
    save_grey("edge-sharpened", sharpened)
    # One dimension, a thousandth of a pixel a step: box of one pixel, Gaussian, unsharp mask.
    t = np.arange(-20, 20, 1e-3)
    esf = scipy.ndimage.gaussian_filter1d(scipy.ndimage.uniform_filter1d((t > 0).astype(float), 1000), sigma * 1000)
    sharp = esf + (esf - scipy.ndimage.gaussian_filter1d(esf, 1400))
    middle = slice(5000, -5000)
    cross = lambda e: float(t[middle][np.argmax(e[middle] > 0.9)] - t[middle][np.argmax(e[middle] > 0.1)])
    nyquist = float(np.exp(-2 * (np.pi * sigma * 0.5) ** 2) * np.sinc(0.5))
    gain = 1 + (1 - np.exp(-2 * (np.pi * 1.4 * 0.5) ** 2))
    write("edges", "slanted edge after ISO 12233; closed forms and a fine one-dimensional profile (numpy, scipy); "
          "sharpened by scikit-image's unsharp_mask", corners_px=corners,
          plain={"rise_px": cross(esf), "halo": 0.0, "nyquist": nyquist},
          sharpened={"rise_px": cross(sharp), "halo": float(sharp[middle].max() - 1), "nyquist": nyquist * gain})


def fitness_blocks():
    """Texture, saved by Pillow as JPEG, as it is and scaled afterwards; its noise by a published estimate."""
    rng = np.random.default_rng(41)
    size = 448
    grain = scipy.ndimage.gaussian_filter(rng.standard_normal((size, size)), (1.0, 6.0))
    clean = 120 + 12 * grain / grain.std()
    noisy = clean + rng.normal(0, 3.0, clean.shape)
    save_grey("texture", noisy)
    texture = np.clip(np.rint(noisy), 0, 255).astype(np.uint8)
    out = io.BytesIO()
    Image.fromarray(texture).save(out, "JPEG", quality=12)
    blocks = Image.open(out).convert("L")
    for name, k in [("blocks-8", 1.0), ("blocks-12", 1.5), ("blocks-6", 0.75)]:
        side = round(size * k)
        blocks.resize((side, side), Image.BILINEAR).save(HERE / f"{name}.png", optimize=True)
    mask = np.array([[1, -2, 1], [-2, 4, -2], [1, -2, 1]])

    def immerkaer(cell):
        r = scipy.signal.convolve2d(cell.astype(float), mask, mode="valid")
        return np.sqrt(np.pi / 2) * np.abs(r).sum() / (6 * (cell.shape[0] - 2) * (cell.shape[1] - 2))

    cells = [immerkaer(texture[y:y + 32, x:x + 32]) for y in range(0, size, 32) for x in range(0, size, 32)]
    write("fitness", "Pillow's JPEG and bilinear scaling; Immerkaer 1996 by scipy.signal.convolve2d",
          pitches_px={"blocks-8": 8.0, "blocks-12": 12.0, "blocks-6": 6.0}, added_sigma=3.0,
          immerkaer_median=float(np.median(cells)))


def ellipse():
    """Ellipses through points with noise of 0.3 px on most of the way round, by OpenCV's fitEllipse."""
    rng = np.random.default_rng(53)
    cases = []
    for centre, long, short, deg, share in [((400, 300), 60, 52, 25, 1.0), ((210.5, 620.25), 140, 120, 110, 0.8),
                                            ((700, 150), 45, 30, 160, 1.0)]:
        a = np.linspace(0, 2 * np.pi * share, 240, endpoint=False)
        r = np.radians(deg)
        x = centre[0] + long * np.cos(a) * np.cos(r) - short * np.sin(a) * np.sin(r)
        y = centre[1] + long * np.cos(a) * np.sin(r) + short * np.sin(a) * np.cos(r)
        points = np.round(np.c_[x, y] + rng.normal(0, 0.3, (240, 2)), 3)
        (cx, cy), axes, angle = cv2.fitEllipse(points.astype(np.float32))
        # OpenCV: the angle is that of the first axis, the widths are whole.
        if axes[0] < axes[1]:
            axes, angle = axes[::-1], angle + 90
        cases.append(dict(centre=[cx, cy], long=axes[0] / 2, short=axes[1] / 2, angle_deg=angle % 180,
                          points=points.tolist()))
    write("ellipse", "OpenCV fitEllipse on points with noise", cases=cases)


if __name__ == "__main__":
    chessboards()
    lens()
    spectrum()
    smoothing()
    statistics()
    grating()
    floors()
    brick()
    fitness_edges()
    fitness_blocks()
    pitch()
    ellipse()
