//! Photos of clients over HTTP: only under a consent, only for those who treat, sealed, hidden with its withdrawal, gone with an
//! erasure; and files no camera wrote, of which nothing is kept.

use std::io::Cursor;

use axum::body::{Body, Bytes};
use image::{DynamicImage, ImageFormat, Rgb, RgbImage};

use crate::browser::Browser;
use crate::doors::fresh_key;
use crate::hostile::{self, HIDDEN, Must};
use crate::house::{TestHouse, both_databases};
use crate::studio::Actor;

/// A PNG of this size.
pub(crate) fn png(wide: u32, high: u32) -> Vec<u8> {
    let mut file = Cursor::new(Vec::new());
    let picture = RgbImage::from_pixel(wide, high, Rgb([180, 140, 120]));
    DynamicImage::ImageRgb8(picture).write_to(&mut file, ImageFormat::Png).unwrap();
    file.into_inner()
}

/// Takes a photo of a client who has consented; gives its id.
pub(crate) async fn take(house: &TestHouse, who: &mut Browser, client: &str) -> String {
    let path = format!("/door/clients/{client}/photos");
    let form = who.form(&path, &path).await.with("moment", "before");
    assert_eq!(who.submit_file(&form, "photo.png", &png(400, 300)).await.goes_to(), path);
    house.look(&format!("select max(id) from photo where client = '{client}'")).await
}

both_databases!(a_photo_is_a_picture_of_ours_under_a_consent_and_each_look_is_written_down, async |house| {
    let (client, photo) = (&house.things.leaving, &house.things.photo);
    let mut a = house.actor(Actor::ArtistA);
    let before = house.number("select count(*) from audit where action = 'read photo'").await;
    let path = format!("/door/clients/{client}/photos/{photo}");
    let shown = a.get(&path).await.must(200);
    assert_eq!(shown.header("content-type"), "image/jpeg");
    assert_eq!(shown.header("cache-control"), "no-store");
    assert_eq!(shown.header("x-content-type-options"), "nosniff");
    let picture = image::load_from_memory(&shown.body).unwrap();
    assert_eq!((picture.width(), picture.height()), (400, 300));
    assert_eq!(house.number("select count(*) from audit where action = 'read photo'").await, before + 1);

    // The address opens nothing by itself, nor for who does not treat her, nor under another client.
    house.stranger().get(&path).await.must(303);
    house.actor(Actor::ArtistB).get(&path).await.must(404);
    house.actor(Actor::Desk).get(&path).await.must(403);
    a.get(&format!("/door/clients/{}/photos/{photo}", house.things.client)).await.must(404);
    assert_eq!(house.number("select count(*) from audit where action = 'read photo'").await, before + 1);
});

both_databases!(without_a_consent_in_force_no_photo_is_kept_and_none_is_shown, async |house| {
    let mut a = house.actor(Actor::ArtistA);
    // Ada never signed one: there is no form, and a form sent all the same keeps nothing.
    let ada = format!("/door/clients/{}/photos", house.things.client);
    let page = a.page(&ada).await;
    page.says("not signed");
    assert!(!page.text().contains("type=\"file\""));
    let csrf = a.csrf().await;
    let form = crate::html::FormOnPage { action: ada, multipart: true, ..Default::default() };
    let form = form.with_all(&[("csrf", &csrf), ("form_key", &fresh_key()), ("moment", "after")]);
    a.submit_file(&form, "photo.png", &png(40, 30)).await.must(409);
    assert_eq!(house.number("select count(*) from photo").await, 1);

    // Withdrawn with one tap, hers is erased at once, as the wording she signed says.
    let (client, photo) = (&house.things.leaving, &house.things.photo);
    let path = format!("/door/clients/{client}");
    let consent = house.look(&format!("select id from consent where client = '{client}'")).await;
    let withdraw = a.form(&path, &format!("{path}/consents/{consent}/withdraw")).await;
    a.submit(&withdraw).await.must(303);
    a.get(&format!("{path}/photos/{photo}")).await.must(404);
    let page = a.page(&format!("{path}/photos")).await;
    assert!(!page.text().contains(photo.as_str()));
    assert_eq!(house.number("select count(*) from photo").await, 0);
    assert_eq!(house.number("select count(*) from audit where action = 'erase photo'").await, 1);
});

both_databases!(records_put_together_keep_the_photos_and_they_still_open, async |house| {
    let mut a = house.actor(Actor::ArtistA);
    let keeper = house.things.people[Actor::ArtistA.name()].clone();
    let other = crate::clients::add(&mut a, "Gro Haugen", &keeper, &[("born_year", "1971"), ("another", "yes")]).await;
    let mut owner = house.owner();
    let path = format!("/door/clients/{other}/merge/{}", house.things.leaving);
    let form = owner.form(&path, &path).await;
    owner.submit(&form).await.must(303);
    a.get(&format!("/door/clients/{other}/photos/{}", house.things.photo)).await.must(200);
});

both_databases!(of_a_hostile_file_nothing_is_kept_but_a_picture_of_ours, async |house| {
    let mut a = house.actor(Actor::ArtistA);
    let path = format!("/door/clients/{}/photos", house.things.leaving);
    let form = a.form(&path, &path).await.with("moment", "another");
    let mut tried = 0;
    // The largest stand in a test of their own: here it is about what the house does with them.
    for one in hostile::all().iter().filter(|one| one.bytes.len() < 1_000_000 && !one.what.contains("million")) {
        tried += 1;
        let before = house.number("select count(*) from photo").await;
        let answer = a.submit_file(&form.clone().with("form_key", &fresh_key()), one.name, &one.bytes).await;
        let kept = house.number("select count(*) from photo").await - before;
        match answer.status {
            303 => assert!(kept == 1 && one.must != Must::BeRefused, "{}", one.what),
            422 => {
                assert!(kept == 0 && one.must != Must::BeTaken, "{}", one.what);
                assert!(answer.text().contains("id=\"f-file-wrong\""), "{}: no word beside the file", one.what);
            }
            other => panic!("{}: {other}", one.what),
        }
        if kept == 1 {
            let newest = house.look("select max(id) from photo").await;
            let shown = a.get(&format!("{path}/{newest}")).await.must(200);
            assert!(shown.body.starts_with(&[0xff, 0xd8, 0xff]), "{}", one.what);
            for word in HIDDEN {
                let found = shown.body.windows(word.len()).any(|bytes| bytes == word.as_bytes());
                assert!(!found, "{}: “{word}” came through", one.what);
            }
        }
        assert!(!answer.text().contains("hidden-words"));
    }
    assert!(tried >= 55, "only {tried} files were tried");
    // Neither names nor folders of what was sent stand anywhere.
    assert!(!house.folder.join("data").join("passwd").exists());
});

both_databases!(a_stream_without_end_is_cut_off, async |house| {
    let mut a = house.actor(Actor::ArtistA);
    let path = format!("/door/clients/{}/photos", house.things.leaving);
    let csrf = a.csrf().await;
    let beginning = format!(
        "--edge\r\ncontent-disposition: form-data; name=\"csrf\"\r\n\r\n{csrf}\r\n--edge\r\ncontent-disposition: form-data; name=\"form_key\"\r\n\r\n{}\r\n--edge\r\ncontent-disposition: form-data; name=\"moment\"\r\n\r\nafter\r\n--edge\r\ncontent-disposition: form-data; name=\"file\"; filename=\"a.jpg\"\r\n\r\n",
        fresh_key()
    );
    let piece = Bytes::from(vec![0xff_u8; 1 << 20]);
    let read = std::sync::Arc::new(std::sync::atomic::AtomicU64::new(0));
    let counting = read.clone();
    // A gibibyte, if it were read to its end.
    let pieces = std::iter::once(Bytes::from(beginning)).chain(std::iter::repeat_n(piece, 1024)).map(move |bytes| {
        counting.fetch_add(bytes.len() as u64, std::sync::atomic::Ordering::Relaxed);
        Ok::<_, std::io::Error>(bytes)
    });
    let body = Body::from_stream(futures_util::stream::iter(pieces));
    let answer = a.post_body(&path, "multipart/form-data; boundary=edge", body).await;
    assert!(matches!(answer.status, 413 | 422 | 400), "{}", answer.status);
    let read = read.load(std::sync::atomic::Ordering::Relaxed);
    assert!(read < 16 << 20, "{read} bytes were read");
    assert_eq!(house.number("select count(*) from photo").await, 1);
});

// Twelve photos as large as they are kept. The time is told with `--nocapture`; ten seconds are the promise.
both_databases!(her_file_holds_every_photo_of_a_dozen_large_ones, async |house| {
    let mut a = house.actor(Actor::ArtistA);
    let path = format!("/door/clients/{}/photos", house.things.leaving);
    let noise = RgbImage::from_fn(2048, 1536, |x, y| {
        let grain = x.wrapping_mul(2_654_435_761).wrapping_add(y.wrapping_mul(40_503)) >> 13;
        Rgb([180 - (grain & 31) as u8, 140 - (grain >> 5 & 31) as u8, 120])
    });
    let mut file = Cursor::new(Vec::new());
    DynamicImage::ImageRgb8(noise).write_to(&mut file, ImageFormat::Png).unwrap();
    let file = file.into_inner();
    assert!(file.len() < 10_000_000, "{} bytes", file.len());
    let form = a.form(&path, &path).await.with("moment", "after");
    for _ in 0..12 {
        a.submit_file(&form.clone().with("form_key", &fresh_key()), "photo.png", &file).await.must(303);
    }
    let answer = a.get(&format!("/door/clients/{}/file.json", house.things.leaving)).await.must(200);
    assert_eq!(answer.json()["photos"].as_array().unwrap().len(), 13);
    assert!(answer.body.len() > 5_000_000, "{} bytes: are these photos large?", answer.body.len());
});
