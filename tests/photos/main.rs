//! Files no camera wrote, before the code that opens photos: each is taken or refused as it must be, nothing hidden comes through, and
//! memory stays within bounds. A test binary of its own, since it looks at the memory of the whole process.

#![allow(clippy::unwrap_used, reason = "a test stops at the first thing that is not as it must be")]
#![allow(clippy::cast_possible_truncation, reason = "colours and bits of made-up files")]

mod hostile;

use hostile::{HIDDEN, Must};
use stillroom::clients::photos::clean::{LONGEST_KEPT, clean};

/// What opening one photo may add to the memory of the process, MiB: a decoded picture of 40 million pixels of four bytes, the file, and
/// what is written.
const MOST_MIB: u64 = 200;

/// The same for a progressive JPEG of 40 million pixels, MiB: its frequencies take six bytes a pixel, its colours three.
const MOST_PROGRESSIVE_MIB: u64 = 420;

/// The most memory this process ever held, and holds now, KiB.
fn memory(line: &str) -> u64 {
    let status = std::fs::read_to_string("/proc/self/status").unwrap();
    let line = status.lines().find(|found| found.starts_with(line)).unwrap();
    line.split_whitespace().nth(1).unwrap().parse().unwrap()
}

/// A grey progressive JPEG of this size, in 4:4:4: one scan of the lowest frequency, then so many of higher ones that say nothing. Every
/// code is one zero bit, so that a picture of any size takes few bytes.
fn progressive(wide: u16, high: u16, more_scans: usize) -> Vec<u8> {
    let blocks = usize::from(wide).div_ceil(8) * usize::from(high).div_ceil(8);
    let mut jpeg = vec![0xff, 0xd8, 0xff, 0xdb, 0, 67, 0];
    jpeg.extend([1; 64]);
    jpeg.extend([0xff, 0xc2, 0, 17, 8]);
    jpeg.extend(high.to_be_bytes());
    jpeg.extend(wide.to_be_bytes());
    jpeg.extend([3, 1, 0x11, 0, 2, 0x11, 0, 3, 0x11, 0]);
    for table in [0x00, 0x10] {
        // One code, of one bit, for "nothing".
        jpeg.extend([0xff, 0xc4, 0, 20, table, 1]);
        jpeg.extend([0; 15]);
        jpeg.push(0);
    }
    jpeg.extend([0xff, 0xda, 0, 12, 3, 1, 0, 2, 0, 3, 0, 0, 0, 0]);
    jpeg.extend(vec![0; (3 * blocks).div_ceil(8)]);
    for n in 0..more_scans {
        let colour = 1 + u8::try_from(n % 3).unwrap();
        jpeg.extend([0xff, 0xda, 0, 8, 1, colour, 0, 1, 63, 0]);
        jpeg.extend(vec![0; blocks.div_ceil(8)]);
    }
    jpeg.extend([0xff, 0xd9]);
    jpeg
}

#[test]
fn no_hostile_file_crashes_anything_comes_through_or_takes_more_memory_than_a_photo() {
    let all = hostile::all();
    assert!(all.len() >= 60, "only {} files", all.len());
    let before = memory("VmRSS");
    let (mut taken, mut refused) = (0, 0);
    for one in &all {
        match clean(&one.bytes) {
            Ok(picture) => {
                assert_ne!(one.must, Must::BeRefused, "{} ({}) was taken", one.what, one.name);
                assert!(picture.width.max(picture.height) <= LONGEST_KEPT);
                let again = image::load_from_memory_with_format(&picture.jpeg, image::ImageFormat::Jpeg).unwrap();
                assert_eq!((again.width(), again.height()), (picture.width, picture.height));
                for word in HIDDEN {
                    let found = picture.jpeg.windows(word.len()).any(|bytes| bytes == word.as_bytes());
                    assert!(!found, "{}: “{word}” came through", one.what);
                }
                taken += 1;
            }
            Err(sentence) => {
                assert_ne!(one.must, Must::BeTaken, "{} ({}) was refused: {sentence}", one.what, one.name);
                assert!(sentence.ends_with(['.', ')']), "{sentence}");
                refused += 1;
            }
        }
    }
    let most = (memory("VmHWM") - before) / 1024;
    assert!(taken >= 15 && refused >= 30, "{taken} taken, {refused} refused");
    assert!(most <= MOST_MIB, "{most} MiB");
    // After the others, since the memory of the whole process is looked at. A progressive picture is held as frequencies until its last
    // scan: twice the bytes of its colours, besides the colours.
    let picture = clean(&progressive(8000, 5000, 3)).unwrap();
    assert_eq!((picture.width, picture.height), (2048, 1280));
    let large = progressive(8000, 5000, 95);
    assert!(large.len() < 10_000_000, "{} bytes", large.len());
    let _either = clean(&large);
    assert!(clean(&progressive(8000, 5001, 0)).is_err(), "one row too many");
    assert!(clean(&progressive(800, 600, 400)).is_err(), "scans without end");
    let most = (memory("VmHWM") - before) / 1024;
    assert!(most <= MOST_PROGRESSIVE_MIB, "{most} MiB for a progressive picture");
}

#[test]
fn cut_anywhere_a_photo_is_taken_as_far_as_it_goes_or_refused_in_words() {
    for format in [image::ImageFormat::Jpeg, image::ImageFormat::Png, image::ImageFormat::WebP] {
        let whole = hostile::good(format);
        for cut in 0..whole.len() {
            let _either = clean(&whole[..cut]);
        }
        assert!(clean(&whole).is_ok(), "{format:?}");
    }
}
