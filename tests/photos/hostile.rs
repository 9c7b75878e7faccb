//! Files no camera wrote: broken, huge, disguised, or with something hidden in them. Made here, byte by byte; none is kept anywhere.

use std::io::Cursor;

use image::{DynamicImage, ImageFormat, Rgb, RgbImage};

/// What must happen with a file.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Must {
    /// Taken as a picture.
    BeTaken,
    /// Refused in words.
    BeRefused,
    /// Either of them: a broken end may be drawn as far as it goes.
    End,
}

/// A file with the name it comes under.
pub(crate) struct Hostile {
    pub(crate) what: &'static str,
    pub(crate) name: &'static str,
    pub(crate) bytes: Vec<u8>,
    pub(crate) must: Must,
}

/// Words that are hidden in some of the files and must stand in no picture of ours.
pub(crate) const HIDDEN: [&str; 6] = ["<script", "Exif", "hidden-words", "PK\u{3}\u{4}", "acTL", "<x:xmpmeta"];

const SCRIPT: &[u8] = b"<html><script>alert('hidden-words')</script></html>";

/// A small good picture.
pub(crate) fn good(format: ImageFormat) -> Vec<u8> {
    let picture = RgbImage::from_fn(64, 48, |x, y| Rgb([(x * 4) as u8, (y * 5) as u8, 90]));
    let mut file = Cursor::new(Vec::new());
    DynamicImage::ImageRgb8(picture).write_to(&mut file, format).unwrap();
    file.into_inner()
}

/// All of them.
pub(crate) fn all() -> Vec<Hostile> {
    let mut all = other_kinds();
    all.extend(jpegs());
    all.extend(pngs());
    all.extend(webps());
    all
}

fn file(what: &'static str, name: &'static str, must: Must, bytes: impl Into<Vec<u8>>) -> Hostile {
    Hostile { what, name, bytes: bytes.into(), must }
}

fn other_kinds() -> Vec<Hostile> {
    let no = |what, name, bytes: &[u8]| file(what, name, Must::BeRefused, bytes);
    vec![
        no("nothing", "a.jpg", b""),
        no("one byte", "a.jpg", b"\xff"),
        no("a page named as a photo", "a.jpg", SCRIPT),
        no("a drawing with a script", "a.svg", b"<svg xmlns=\"http://www.w3.org/2000/svg\"><script>alert(1)</script></svg>"),
        no("a drawing behind an XML line", "a.png", b"<?xml version=\"1.0\"?><svg onload=\"alert(1)\"/>"),
        no(
            "entities of entities",
            "a.svg",
            b"<!DOCTYPE a [<!ENTITY b \"bbbbbbbb\"><!ENTITY c \"&b;&b;&b;&b;&b;&b;\"><!ENTITY d \"&c;&c;&c;&c;&c;\">]><svg>&d;</svg>",
        ),
        no("a PDF", "a.pdf", b"%PDF-1.7\n1 0 obj<</OpenAction<</S/JavaScript/JS(app.alert(1))>>>>endobj"),
        no("a GIF", "a.gif", b"GIF89a\x01\x00\x01\x00\x80\x00\x00\x00\x00\x00\xff\xff\xff,\x00\x00\x00\x00\x01\x00\x01\x00\x00\x02\x02D\x01\x00;"),
        no("a GIF that is a script", "a.jpg", b"GIF89a/*\x00\x00\x00*/=1;alert('hidden-words')"),
        no("a BMP", "a.bmp", b"BM\x3a\x00\x00\x00\x00\x00\x00\x00\x36\x00\x00\x00\x28\x00\x00\x00"),
        no("a TIFF", "a.tif", b"II*\x00\x08\x00\x00\x00\x00\x00"),
        no("an icon", "a.ico", b"\x00\x00\x01\x00\x01\x00\x10\x10\x00\x00"),
        no("a HEIC", "a.heic", b"\x00\x00\x00\x18ftypheic\x00\x00\x00\x00mif1heic"),
        no("an AVIF", "a.avif", b"\x00\x00\x00\x18ftypavif\x00\x00\x00\x00mif1avif"),
        no("a film", "a.mp4", b"\x00\x00\x00\x18ftypisom\x00\x00\x02\x00isomiso2"),
        no("an archive", "a.zip", b"PK\x03\x04\x14\x00\x00\x00\x08\x00"),
        no("a program", "a.jpg", b"\x7fELF\x02\x01\x01\x00"),
        no("a program for Windows", "a.jpg.exe", b"MZ\x90\x00\x03\x00\x00\x00"),
        no("a script of a shell", "a.jpg", b"#!/bin/sh\nrm -rf /\n"),
        no("a script of a server", "a.php.jpg", b"<?php system($_GET['c']); ?>"),
        no("packed zeros", "a.jpg", &[&[0x1f, 0x8b, 8, 0, 0, 0, 0, 0, 0, 3][..], &zeros_packed(50_000_000)[2..]].concat()),
    ]
}

/// A JPEG with a segment put in behind its first two bytes.
fn with_segment(marker: u8, content: &[u8]) -> Vec<u8> {
    let jpeg = good(ImageFormat::Jpeg);
    let length = u16::try_from(content.len() + 2).unwrap().to_be_bytes();
    [&jpeg[..2], &[0xff, marker], &length, content, &jpeg[2..]].concat()
}

/// The JPEG with another height and width in its frame.
fn with_size(high: u16, wide: u16) -> Vec<u8> {
    let mut jpeg = good(ImageFormat::Jpeg);
    let frame = jpeg.windows(2).position(|two| two[0] == 0xff && matches!(two[1], 0xc0..=0xc2)).unwrap();
    jpeg[frame + 5..frame + 7].copy_from_slice(&high.to_be_bytes());
    jpeg[frame + 7..frame + 9].copy_from_slice(&wide.to_be_bytes());
    jpeg
}

fn jpegs() -> Vec<Hostile> {
    use Must::{BeRefused, BeTaken, End};
    let jpeg = good(ImageFormat::Jpeg);
    let behind = |more: &[u8]| [&jpeg, more].concat();
    let exif = |ifd: &[u8]| with_segment(0xe1, &[b"Exif\0\0MM\0\x2a\0\0\0\x08", ifd].concat());
    let orientation = |way: u8| exif(&[0, 1, 1, 0x12, 0, 3, 0, 0, 0, 1, 0, way, 0, 0, 0, 0, 0, 0]);
    let many: Vec<u8> =
        (0..100).flat_map(|_| [&[0xff, 0xe1, 0xff, 0xff][..], b"Exif\0\0", &[b'h'; 65_527]].concat()).collect();
    let mut wrong_first = jpeg.clone();
    wrong_first[0] = 0xfe;
    let mut scrambled = jpeg.clone();
    for at in (jpeg.len() / 2..jpeg.len()).step_by(3) {
        scrambled[at] ^= 0x5a;
    }
    vec![
        file("only a beginning", "a.jpg", BeRefused, &jpeg[..20]),
        file("the first three bytes", "a.jpg", BeRefused, &jpeg[..3]),
        file("half of it", "a.jpg", End, &jpeg[..jpeg.len() / 2]),
        file("without its end", "a.jpg", End, &jpeg[..jpeg.len() - 2]),
        file("a wrong first byte", "a.jpg", BeRefused, wrong_first),
        file("scrambled", "a.jpg", End, scrambled),
        file("65,500 by 65,500", "a.jpg", BeRefused, with_size(65_500, 65_500)),
        file("65,500 wide", "a.jpg", BeRefused, with_size(48, 65_500)),
        file("20,000 by 20,000", "a.jpg", BeRefused, with_size(20_000, 20_000)),
        file("no size at all", "a.jpg", BeRefused, with_size(0, 0)),
        file("more size than there is picture", "a.jpg", End, with_size(4800, 6400)),
        file("an archive behind it", "a.jpg", BeTaken, behind(b"PK\x03\x04hidden-words")),
        file("a page behind it", "a.jpg", BeTaken, behind(SCRIPT)),
        file("a page in its comment", "a.jpg", BeTaken, with_segment(0xfe, SCRIPT)),
        file("a page in its EXIF", "a.jpg", BeTaken, exif(&[&[0, 0, 0, 0, 0, 0][..], SCRIPT].concat())),
        file(
            "a place in its EXIF",
            "a.jpg",
            BeTaken,
            exif(&[&[0, 1, 0x88, 0x25, 0, 4, 0, 0, 0, 1, 0, 0, 0, 26, 0, 0, 0, 0][..], b"hidden-words"].concat()),
        ),
        file("a ninth way up", "a.jpg", BeTaken, orientation(9)),
        file("EXIF that is cut off", "a.jpg", BeTaken, exif(&[0xff, 0xff])),
        file("EXIF that leads back to itself", "a.jpg", BeTaken, exif(&[0, 0, 0, 0, 0, 8])),
        file(
            "words of an editor",
            "a.jpg",
            BeTaken,
            with_segment(0xe1, b"http://ns.adobe.com/xap/1.0/\0<x:xmpmeta>hidden-words</x:xmpmeta>"),
        ),
        file("a broken colour profile", "a.jpg", BeTaken, with_segment(0xe2, b"ICC_PROFILE\0\x01\x01hidden-words")),
        file(
            "a segment longer than the file",
            "a.jpg",
            BeRefused,
            [&jpeg[..2], &[0xff, 0xe1, 0xff, 0xff][..], &jpeg[2..40]].concat(),
        ),
        file("a hundred segments", "a.jpg", BeTaken, [&jpeg[..2], &many, &jpeg[2..]].concat()),
        file("more than ten million bytes", "a.jpg", BeRefused, behind(&vec![0; 10_100_000])),
        file("two endings", "a.jpg.php", BeTaken, jpeg.clone()),
        file("a way out of the folder", "../../../etc/passwd", BeTaken, jpeg.clone()),
    ]
}

fn pngs() -> Vec<Hostile> {
    use Must::{BeRefused, BeTaken, End};
    let png = good(ImageFormat::Png);
    let behind = |more: &[u8]| [&png, more].concat();
    // Behind the header's chunk.
    let with = |kind: &[u8; 4], content: &[u8]| [&png[..33], &chunk(kind, content), &png[33..]].concat();
    let mut crc = png.clone();
    crc[30] ^= 1;
    let mut small_letters = png.clone();
    small_letters[1..4].copy_from_slice(b"png");
    let packed = [b"hidden-words\0\0".as_slice(), &zeros_packed(100_000_000)].concat();
    let moving = [chunk(b"acTL", &[0, 0, 0, 2, 0, 0, 0, 0]), chunk(b"fcTL", &[0; 26])].concat();
    vec![
        file("a header cut off", "a.png", BeRefused, &png[..20]),
        file("eight bytes", "a.png", BeRefused, &png[..8]),
        file("half of it", "a.png", End, &png[..png.len() / 2]),
        file("a wrong checksum", "a.png", BeRefused, crc),
        file("small letters", "a.png", BeRefused, small_letters),
        file("no size at all", "a.png", BeRefused, plain(0, 0, 8, 2, &[])),
        file("2,147,483,647 wide", "a.png", BeRefused, plain(0x7fff_ffff, 0x7fff_ffff, 8, 2, &[])),
        file("30,000 by 30,000 of nothing", "a.png", BeRefused, plain(30_000, 30_000, 8, 6, &[])),
        file("20,000 by 20,000 of zeros", "a.png", BeRefused, zeros(20_000, 20_000, 8, 0)),
        file("48 million pixels", "a.png", BeRefused, zeros(8000, 6000, 8, 0)),
        file("36 million pixels of four colours", "a.png", BeTaken, zeros(6000, 6000, 8, 6)),
        file("36 million pixels of four deep colours", "a.png", BeRefused, zeros(6000, 6000, 16, 6)),
        file("one row of pixels, too long", "a.png", BeRefused, zeros(39_000_000, 1, 8, 0)),
        file("packed words that grow", "a.png", BeTaken, with(b"zTXt", &packed)),
        file("a packed profile that grows", "a.png", End, with(b"iCCP", &packed)),
        file("a page in its words", "a.png", BeTaken, with(b"tEXt", &[b"Comment\0", SCRIPT].concat())),
        file("a place in its EXIF", "a.png", BeTaken, with(b"eXIf", b"MM\0\x2a\0\0\0\x08\0\0hidden-words")),
        file("one that moves", "a.png", End, [&png[..33], &moving, &png[33..]].concat()),
        file("no picture in it", "a.png", BeRefused, [&png[..33], &chunk(b"IEND", &[])].concat()),
        file("noise for a picture", "a.png", BeRefused, plain(64, 48, 8, 2, &[0x5a; 300])),
        file("a script behind it", "a.png", BeTaken, behind(SCRIPT)),
        file("two headers", "a.png", End, [&png[..33], &png[8..]].concat()),
    ]
}

fn webps() -> Vec<Hostile> {
    use Must::{BeRefused, BeTaken, End};
    let webp = good(ImageFormat::WebP);
    let riff = |content: &[u8]| {
        let size = u32::try_from(content.len() + 4).unwrap().to_le_bytes();
        [b"RIFF", &size, b"WEBP", content].concat()
    };
    // A canvas of 16,384 by 16,384 and nothing on it; and one that moves without a picture.
    let canvas = |flags: u8| [b"VP8X\x0a\0\0\0".as_slice(), &[flags, 0, 0, 0, 0xff, 0x3f, 0, 0xff, 0x3f, 0]].concat();
    let mut wrong_size = webp.clone();
    wrong_size[4..8].copy_from_slice(&0xffff_fff0_u32.to_le_bytes());
    vec![
        file("a header alone", "a.webp", BeRefused, &webp[..12]),
        file("half of it", "a.webp", End, &webp[..webp.len() / 2]),
        file("a wrong length", "a.webp", End, wrong_size),
        file("a canvas and nothing on it", "a.webp", BeRefused, riff(&canvas(0))),
        file("moves and has no picture", "a.webp", BeRefused, riff(&canvas(2))),
        file("a page behind it", "a.webp", BeTaken, [&webp, SCRIPT].concat()),
    ]
}

/// Bytes of a chunk: length, kind, content, checksum.
fn chunk(kind: &[u8; 4], content: &[u8]) -> Vec<u8> {
    let length = u32::try_from(content.len()).unwrap().to_be_bytes();
    let checked = [kind.as_slice(), content].concat();
    [&length, checked.as_slice(), &crc(&checked).to_be_bytes()].concat()
}

/// A PNG of this size, depth and colours whose picture is these packed bytes.
fn plain(wide: u32, high: u32, depth: u8, colours: u8, packed: &[u8]) -> Vec<u8> {
    let header = [&wide.to_be_bytes()[..], &high.to_be_bytes(), &[depth, colours, 0, 0, 0]].concat();
    [b"\x89PNG\r\n\x1a\n".as_slice(), &chunk(b"IHDR", &header), &chunk(b"IDAT", packed), &chunk(b"IEND", &[])].concat()
}

/// A whole PNG of zeros: a small file that opens to a large picture.
fn zeros(wide: u32, high: u32, depth: u8, colours: u8) -> Vec<u8> {
    let each = u64::from(depth) / 8 * if colours == 6 { 4 } else { 1 };
    plain(wide, high, depth, colours, &zeros_packed((u64::from(wide) * each + 1) * u64::from(high)))
}

/// `many` zeros as zlib packs them (RFC 1950, 1951): one zero, then copies of 258 with the fixed codes, thirteen bits each.
fn zeros_packed(many: u64) -> Vec<u8> {
    let mut bits = Bits { bytes: vec![0x78, 0x01], held: 0, count: 0 };
    bits.put(0b011, 3);
    let copies = (many - 1) / 258;
    bits.code(0b0011_0000, 8);
    for _ in 0..copies {
        bits.code(0b1100_0101, 8);
        bits.code(0, 5);
    }
    for _ in 0..(many - 1) % 258 {
        bits.code(0b0011_0000, 8);
    }
    bits.code(0, 7);
    bits.put(0, 7);
    let adler = ((many % 65_521) as u32) << 16 | 1;
    [bits.bytes, adler.to_be_bytes().to_vec()].concat()
}

struct Bits {
    bytes: Vec<u8>,
    held: u32,
    count: u32,
}

impl Bits {
    /// The lowest bit first.
    fn put(&mut self, value: u32, count: u32) {
        self.held |= value << self.count;
        self.count += count;
        while self.count >= 8 {
            self.bytes.push((self.held & 0xff) as u8);
            self.held >>= 8;
            self.count -= 8;
        }
    }

    /// A code: the highest bit first.
    fn code(&mut self, value: u32, count: u32) {
        for at in (0..count).rev() {
            self.put(value >> at & 1, 1);
        }
    }
}

/// The checksum of a chunk (ISO 3309, as in the PNG specification).
fn crc(bytes: &[u8]) -> u32 {
    !bytes.iter().fold(!0_u32, |crc, byte| {
        (0..8).fold(crc ^ u32::from(*byte), |crc, _| if crc & 1 == 1 { crc >> 1 ^ 0xedb8_8320 } else { crc >> 1 })
    })
}
