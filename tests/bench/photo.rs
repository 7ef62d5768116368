//! How long a photo takes to come in: `cargo bench --bench photo`.
//!
//! With LOWSUN_CHECK_DATA a 12-megapixel practice photo, else a picture of noise made here (slower to decode).

use image::codecs::jpeg::JpegEncoder;
use image::{Rgb, RgbImage};
use lowsun::photo::{Options, read};
use rand::{Rng, SeedableRng};
use std::path::PathBuf;
use zune_jpeg::JpegDecoder;
use zune_jpeg::zune_core::bytestream::ZCursor;

fn main() {
    divan::main();
}

/// The file, and the folder that must live as long as it (if it was made here).
fn photo() -> (PathBuf, Option<tempfile::TempDir>) {
    if let Some(d) = std::env::var_os("LOWSUN_CHECK_DATA") {
        return (PathBuf::from(d).join("practice/p01-first-slot-proud.jpg"), None);
    }
    let folder = tempfile::TempDir::new().unwrap();
    let path = folder.path().join("noise.jpg");
    let mut rng = rand_chacha::ChaCha8Rng::seed_from_u64(1);
    let noise = RgbImage::from_fn(4032, 3024, |x, _| {
        let v = 90 + (x / 32) as u8 + rng.random_range(0..8);
        Rgb([v, v - 10, v - 20])
    });
    let file = std::fs::File::create(&path).unwrap();
    JpegEncoder::new_with_quality(file, 90).encode_image(&noise).unwrap();
    (path, Some(folder))
}

#[divan::bench(sample_count = 20)]
fn bare_decode(bencher: divan::Bencher) {
    let (path, _folder) = photo();
    let data = std::fs::read(path).unwrap();
    bencher.bench_local(|| JpegDecoder::new(ZCursor::new(&data)).decode().unwrap());
}

#[divan::bench(sample_count = 20)]
fn read_photo(bencher: divan::Bencher) {
    let (path, _folder) = photo();
    bencher.bench_local(|| read(&path, &Options::default()).unwrap());
}
