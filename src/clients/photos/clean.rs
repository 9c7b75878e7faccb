//! A file somebody sent becomes a picture of our own: decoded within limits, turned as the camera said, made smaller, written anew.
//! Nothing of the file itself is kept: no place, no camera, no words, nothing behind the picture. Pure.

use std::io::Cursor;

use image::codecs::jpeg::JpegEncoder;
use image::metadata::Orientation;
use image::{DynamicImage, ImageDecoder, ImageError, ImageFormat, ImageReader, Limits, Rgb, RgbImage};

/// The most a file may hold, bytes: 10 MB.
pub const MOST_BYTES: usize = 10_000_000;
/// The most pixels a picture may have: 40 million.
pub const MOST_PIXELS: u64 = 40_000_000;
/// The longest side of a picture as it is kept, pixels.
pub const LONGEST_KEPT: u32 = 2048;
/// The longest side of a picture that is opened, pixels.
const LONGEST_OPENED: u32 = 20_000;
/// The most memory that decoding one picture may take, bytes: 40 million pixels of four bytes.
const MOST_MEMORY: u64 = 160_000_000;
/// How well the picture is kept, of 100.
const QUALITY: u8 = 85;

/// A picture of our own.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Picture {
    /// A JPEG without any metadata.
    pub jpeg: Vec<u8>,
    /// Its width, pixels.
    pub width: u32,
    /// Its height, pixels.
    pub height: u32,
}

/// Makes a picture of our own out of the bytes of a JPEG, PNG or WebP file; of one that moves, its first picture.
///
/// # Errors
/// A sentence for whoever chose the file.
pub fn clean(file: &[u8]) -> Result<Picture, &'static str> {
    if file.len() > MOST_BYTES {
        return Err("This photo is larger than 10 MB.");
    }
    let format = kind(file)?;
    let mut reader = ImageReader::with_format(Cursor::new(file), format);
    let mut limits = Limits::default();
    limits.max_image_width = Some(LONGEST_OPENED);
    limits.max_image_height = Some(LONGEST_OPENED);
    limits.max_alloc = Some(MOST_MEMORY);
    reader.limits(limits);
    let mut decoder = reader.into_decoder().map_err(words)?;
    let (width, height) = decoder.dimensions();
    if u64::from(width) * u64::from(height) > MOST_PIXELS {
        return Err(TOO_MANY_PIXELS);
    }
    // More bytes a colour than a photo has: it would fill the memory it may not have.
    if decoder.total_bytes() > MOST_MEMORY {
        return Err("This photo takes too much memory to open. Let the device save it as JPEG.");
    }
    // What the file says about which way is up may be nonsense; then the picture stays as it lies.
    let way_up = decoder.orientation().unwrap_or(Orientation::NoTransforms);
    let opened = DynamicImage::from_decoder(decoder).map_err(words)?;
    // Smaller first: turning needs the picture twice.
    let mut small =
        if width.max(height) > LONGEST_KEPT { opened.thumbnail(LONGEST_KEPT, LONGEST_KEPT) } else { opened };
    small.apply_orientation(way_up);
    let flat = on_white(&small);
    let mut jpeg = Vec::new();
    JpegEncoder::new_with_quality(&mut jpeg, QUALITY).encode_image(&flat).map_err(words)?;
    Ok(Picture { jpeg, width: flat.width(), height: flat.height() })
}

const TOO_MANY_PIXELS: &str = "This photo has more than 40 million pixels. Let the camera take smaller ones.";
const NOT_A_PHOTO: &str = "This is no photo that opens here: JPEG, PNG and WebP are taken.";
const BROKEN: &str = "This photo is broken and does not open.";

/// What the file is by its own first bytes; neither its name nor what the browser says counts.
fn kind(file: &[u8]) -> Result<ImageFormat, &'static str> {
    match file {
        [] => Err("Choose a photo. Browsers do not keep the choice when a page comes back."),
        [0xff, 0xd8, 0xff, ..] => Ok(ImageFormat::Jpeg),
        [0x89, b'P', b'N', b'G', 0x0d, 0x0a, 0x1a, 0x0a, ..] => Ok(ImageFormat::Png),
        [b'R', b'I', b'F', b'F', _, _, _, _, b'W', b'E', b'B', b'P', ..] => Ok(ImageFormat::WebP),
        [_, _, _, _, b'f', b't', b'y', b'p', ..] => Err(
            "This is a photo or film of a kind that does not open here (HEIC, AVIF, MP4). Let the device save JPEG.",
        ),
        _ => Err(NOT_A_PHOTO),
    }
}

#[expect(clippy::needless_pass_by_value, reason = "given as it comes out of map_err")]
fn words(problem: ImageError) -> &'static str {
    match problem {
        ImageError::Limits(_) => TOO_MANY_PIXELS,
        ImageError::Unsupported(_) => NOT_A_PHOTO,
        _ => BROKEN,
    }
}

/// The picture without transparency, on white.
fn on_white(picture: &DynamicImage) -> RgbImage {
    if !picture.color().has_alpha() {
        return picture.to_rgb8();
    }
    let clear = picture.to_rgba8();
    RgbImage::from_fn(clear.width(), clear.height(), |x, y| {
        let [red, green, blue, alpha] = clear.get_pixel(x, y).0;
        let over = |colour: u8| {
            let mixed = (u16::from(colour) * u16::from(alpha) + 255 * (255 - u16::from(alpha)) + 127) / 255;
            u8::try_from(mixed).unwrap_or(u8::MAX)
        };
        Rgb([over(red), over(green), over(blue)])
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A picture whose left half is red and right half blue.
    fn two_halves(width: u32, height: u32) -> RgbImage {
        RgbImage::from_fn(width, height, |x, _| if x < width / 2 { Rgb([220, 20, 20]) } else { Rgb([20, 20, 220]) })
    }

    fn encoded(picture: &RgbImage, format: ImageFormat) -> Vec<u8> {
        let mut file = Cursor::new(Vec::new());
        DynamicImage::ImageRgb8(picture.clone()).write_to(&mut file, format).unwrap();
        file.into_inner()
    }

    /// The JPEG with an EXIF block that says which way is up.
    fn turned(jpeg: &[u8], way: u8) -> Vec<u8> {
        let mut exif = b"Exif\0\0MM\0\x2a\0\0\0\x08\0\x01\x01\x12\0\x03\0\0\0\x01\0".to_vec();
        exif.extend([way, 0, 0, 0, 0, 0, 0]);
        let length = u16::try_from(exif.len() + 2).unwrap().to_be_bytes();
        [&jpeg[..2], &[0xff, 0xe1], &length, &exif, &jpeg[2..]].concat()
    }

    fn red_at(picture: &Picture, x: u32, y: u32) -> bool {
        let [red, _, blue] = image::load_from_memory(&picture.jpeg).unwrap().to_rgb8().get_pixel(x, y).0;
        red > blue
    }

    #[test]
    fn each_of_the_three_kinds_opens_and_keeps_its_size_and_colours() {
        for format in [ImageFormat::Jpeg, ImageFormat::Png, ImageFormat::WebP] {
            let picture = clean(&encoded(&two_halves(64, 32), format)).unwrap();
            assert_eq!((picture.width, picture.height), (64, 32));
            assert!(red_at(&picture, 5, 16) && !red_at(&picture, 58, 16), "{format:?}");
        }
    }

    #[test]
    fn a_large_one_is_made_smaller_and_keeps_its_shape() {
        let picture = clean(&encoded(&two_halves(4096, 1024), ImageFormat::Png)).unwrap();
        assert_eq!((picture.width, picture.height), (2048, 512));
    }

    #[test]
    fn a_photo_stands_as_the_camera_was_held_and_says_nothing_of_it_afterwards() {
        let lying = encoded(&two_halves(64, 32), ImageFormat::Jpeg);
        // EXIF 2.3, orientation 6: turn by a quarter, clockwise; what was left is on top. 3: by a half.
        let quarter = clean(&turned(&lying, 6)).unwrap();
        assert_eq!((quarter.width, quarter.height), (32, 64));
        assert!(red_at(&quarter, 16, 5) && !red_at(&quarter, 16, 58));
        let half = clean(&turned(&lying, 3)).unwrap();
        assert!(!red_at(&half, 5, 16) && red_at(&half, 58, 16));
        assert!(!quarter.jpeg.windows(4).any(|four| four == b"Exif"));
    }

    #[test]
    fn what_is_clear_becomes_white() {
        let clear = image::RgbaImage::from_pixel(8, 8, image::Rgba([200, 0, 0, 0]));
        let mut file = Cursor::new(Vec::new());
        DynamicImage::ImageRgba8(clear).write_to(&mut file, ImageFormat::Png).unwrap();
        let picture = clean(&file.into_inner()).unwrap();
        assert!(image::load_from_memory(&picture.jpeg).unwrap().to_rgb8().get_pixel(4, 4).0.iter().all(|c| *c > 250));
    }
}
