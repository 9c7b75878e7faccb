//! Photos of clients over HTTP: only under a consent, only for those who treat, sealed, hidden with its withdrawal, gone with an
//! erasure; and files no camera wrote, of which nothing is kept.

use std::io::Cursor;

use axum::body::{Body, Bytes};
use image::{DynamicImage, ImageFormat, Rgb, RgbImage};
use stillroom::base::time::{DAY, MINUTE};

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

/// Sends a photo in the form that stands on a page.
async fn send_photo(who: &mut Browser, page: &str, file: &[u8]) -> crate::browser::Answer {
    let form = who.form(page, &format!("{page}/photos")).await;
    who.submit_file(&form, "photo.png", file).await
}

both_databases!(a_patch_test_and_a_complaint_show_photos_of_their_own_for_those_who_treat, async |house| {
    let things = &house.things.clearance;
    let mut a = house.actor(Actor::ArtistA);
    let test = format!("/door/tests/{}", things["{patch_test}"]);
    let complaint = format!("/door/complaints/{}", things["{complaint}"]);
    for (page, client, words) in [(&test, "cora", "Of a patch test"), (&complaint, "dora", "Of a complaint")] {
        assert_eq!(send_photo(&mut a, page, &png(400, 300)).await.goes_to(), *page);
        let about = page.rsplit('/').next().unwrap();
        let id = house.look(&format!("select id from photo where about = '{about}'")).await;
        let shown = a.page(page).await;
        let address = format!("/door/clients/{}/photos/{id}", things[client]);
        shown.says(words);
        assert!(shown.text().contains(&format!("src=\"{address}\"")), "{page}");
        assert_eq!(a.get(&address).await.must(200).header("content-type"), "image/jpeg");
        // On her own page of photos too, and to nobody else.
        a.page(&format!("/door/clients/{}/photos", things[client])).await.says(words);
        house.actor(Actor::ArtistB).get(&address).await.must(404);
        house.actor(Actor::Desk).get(&address).await.must(403);
        house.stranger().get(&address).await.must(303);
        let mut db = house.past().await;
        let row =
            sqlx::query("select picture from photo where about = $1").bind(about).fetch_one(&mut db).await.unwrap();
        let kept: Vec<u8> = sqlx::Row::get(&row, 0);
        assert!(!kept.windows(3).any(|bytes| bytes == [0xff, 0xd8, 0xff]), "the picture is not sealed");
        // What is no photo comes back beside the form, and nothing is kept.
        let back = send_photo(&mut a, page, b"no photo").await.must(422);
        assert!(back.text().contains("id=\"f-file-wrong\""), "no word beside the file");
        assert_eq!(house.number(&format!("select count(*) from photo where about = '{about}'")).await, 1);
    }
    let of = async |client: &str| house.number(&format!("select count(*) from photo where client = '{client}'")).await;
    // Withdrawn, they are erased. With her record they are, too, but for the complaint's: that one stays as long as the complaint.
    let (cora, dora) = (&things["cora"], &things["dora"]);
    let consent =
        house.look(&format!("select id from consent where client = '{cora}' and purpose = 'record_photos'")).await;
    let path = format!("/door/clients/{cora}");
    let withdraw = a.form(&path, &format!("{path}/consents/{consent}/withdraw")).await;
    a.submit(&withdraw).await.must(303);
    assert_eq!(of(cora).await, 0);
    let page = a.page(&test).await;
    page.says("no consent to photos of record");
    assert!(!page.text().contains("type=\"file\""));
    let csrf = a.csrf().await;
    let form = crate::html::FormOnPage { action: format!("{test}/photos"), multipart: true, ..Default::default() };
    let form = form.with_all(&[("csrf", &csrf), ("form_key", &fresh_key())]);
    a.submit_file(&form, "photo.png", &png(40, 30)).await.must(409);
    take(house, &mut a, dora).await;
    let path = format!("/door/clients/{dora}/erasure");
    let page = a.page(&path).await;
    page.says("photos of a complaint, and of the set it is about, stay locked with the complaint");
    let form = page.form(&path).with("treated", "no");
    let told = a.submit(&form).await.goes_to();
    a.page(&told).await.says("photos of what a complaint is about, with the consent to them");
    let complaint = &things["{complaint}"];
    let left = house.look(&format!("select min(about) || ' ' || max(about) from photo where client = '{dora}'")).await;
    assert_eq!((of(dora).await, left), (1, format!("{complaint} {complaint}")));
    a.get(&format!("/door/clients/{dora}/photos")).await.must(404);
    // Her keeper opens what stays, to answer the claim, and each time is written down; nobody else does.
    let opened = "select count(*) from audit where action in ('open what stays of client', 'read photo')";
    let before = house.number(opened).await;
    let page = a.page(&told).await;
    let file = format!("{told}/file");
    assert!(page.text().contains(&format!("href=\"{file}\"")), "{}", page.text());
    let page = a.page(&format!("{file}?open=yes")).await;
    for words in ["Dora Quist", "Lashes fell within two days.", "What had to stay of her"] {
        page.says(words);
    }
    let photo = house.look(&format!("select id from photo where client = '{dora}'")).await;
    let address = format!("{told}/photos/{photo}");
    assert!(page.text().contains(&format!("src=\"{address}\"")), "{}", page.text());
    assert_eq!(a.get(&address).await.must(200).header("content-type"), "image/jpeg");
    let json = a.get(&format!("{file}.json")).await.must(200).json();
    assert_eq!(json["photos"][0]["id"], photo.as_str());
    assert_eq!(house.number(opened).await, before + 3);
    for path in [&file, &format!("{file}.json"), &address] {
        house.actor(Actor::ArtistB).get(path).await.must(404);
        house.actor(Actor::Desk).get(path).await.must(403);
        house.owner().get(path).await.must(403);
        house.stranger().get(path).await.must(303);
    }
    assert!(!house.owner().page(&told).await.text().contains(&file), "an artist keeps her");
    // Years later she is found again by her keeper, in the list of those erased; that it was looked through is written down.
    let looked = "select count(*) from audit where action = 'look through erased clients'";
    assert_eq!(house.number(looked).await, 0);
    let page = a.page("/door/clients").await;
    assert!(page.text().contains("href=\"/door/erased\""), "{}", page.text());
    let list = a.page("/door/erased").await;
    list.says("Dora Quist");
    list.says("the last of it stays until");
    assert!(list.text().contains(&format!("href=\"{told}\"")), "{}", list.text());
    let theirs = house.actor(Actor::ArtistB).page("/door/erased").await;
    assert!(!theirs.text().contains("Dora Quist"));
    assert!(!house.owner().page("/door/erased").await.text().contains("Dora Quist"), "an artist keeps her");
    assert_eq!(house.number(looked).await, 3);
    // A client who was not erased has no such page.
    let here = format!("/door/erased/{}/file", things["ada"]);
    a.get(&here).await.must(404);
    assert_eq!(house.number(opened).await, before + 3);
    house.clock.advance((7 * 365 + 3) * DAY);
    stillroom::privacy::go_on(&house.house).await.unwrap();
    for table in ["complaint", "photo", "consent", "client_key"] {
        assert_eq!(house.number(&format!("select count(*) from {table} where client = '{dora}'")).await, 0, "{table}");
    }
});

both_databases!(a_withdrawal_takes_back_whatever_was_signed_for_that_purpose_before, async |house| {
    let her = format!("/door/clients/{}", house.things.leaving);
    let mut a = house.actor(Actor::ArtistA);
    let photos = format!("select count(*) from photo where client = '{}'", house.things.leaving);
    assert!(house.number(&photos).await > 0, "under her first consent");
    house.clock.advance(MINUTE);
    let sign = format!("{her}/sign/record_photos");
    let form = a.form(&sign, &sign).await.with_all(&crate::clients::signed());
    let consent = a.submit(&form).await.goes_to();
    take(house, &mut a, &house.things.leaving).await;
    let form = a.form(&her, &format!("{consent}/withdraw")).await;
    a.submit(&form).await.must(303);
    assert_eq!(house.number(&photos).await, 0, "none is left under an older one");
    a.page(&format!("{her}/photos")).await.says("no photo may be kept");
    let mut db = house.house.store.read().await.unwrap();
    let broken = stillroom::clients::consents::verify(&mut db, house.house.store.keys()).await.unwrap();
    assert_eq!(broken, [], "both are told in the chain");
});

both_databases!(an_agreement_to_publicity_is_not_told_of_somebody_under_age, async |house| {
    let mut a = house.actor(Actor::ArtistA);
    let her = format!("/door/clients/{}", house.things.leaving);
    let photos = format!("{her}/photos");
    let agreed = async |a: &mut Browser| a.page(&photos).await.words().contains("She also agreed to publicity");
    assert!(!agreed(&mut a).await);
    let sign = format!("{her}/sign/publicity_photos");
    let form = a.form(&sign, &sign).await.with_all(&crate::clients::signed());
    a.submit(&form).await.must(303);
    assert!(agreed(&mut a).await);
    // Her birth date turns out to be another one.
    let edit = format!("{her}/edit");
    let born = [("born_day", "18"), ("born_month", "3"), ("born_year", "2008")];
    let form = a.form(&edit, &edit).await.with_all(&born);
    a.submit(&form).await.must(303);
    assert!(!agreed(&mut a).await, "she is seventeen");
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

// Forty photos as large as they are kept, and five years of records. The time is told with `--nocapture`; ten seconds are the
// promise, held in a release build (`cargo test --release --test http -- her_file_of_five --nocapture`).
both_databases!(her_file_of_five_years_with_large_photos_is_whole, async |house| {
    let mut a = house.actor(Actor::ArtistA);
    let (client, keys) = (house.things.leaving.clone(), house.house.clone());
    let path = format!("/door/clients/{client}/photos");
    let noise = RgbImage::from_fn(2048, 1536, |x, y| {
        let grain = x.wrapping_mul(2_654_435_761).wrapping_add(y.wrapping_mul(40_503)) >> 13;
        Rgb([180 - (grain & 31) as u8, 140 - (grain >> 5 & 31) as u8, 120])
    });
    let mut file = Cursor::new(Vec::new());
    DynamicImage::ImageRgb8(noise).write_to(&mut file, ImageFormat::Png).unwrap();
    let file = file.into_inner();
    assert!(file.len() < 10_000_000, "{} bytes", file.len());
    let form = a.form(&path, &path).await.with("moment", "after");
    a.submit_file(&form, "photo.png", &file).await.must(303);
    let first =
        house.look(&format!("select id from photo where client = '{client}' order by at desc, id desc limit 1")).await;
    let jpeg = std::sync::Arc::new(a.get(&format!("{path}/{first}")).await.must(200).body.to_vec());
    // The others past the form, sealed as it seals them: decoding them would be most of this test.
    let of = client.clone();
    house
        .write(move |tx| {
            let (keys, of, jpeg, first) = (keys.clone(), of.clone(), jpeg.clone(), first.clone());
            Box::pin(async move {
                for _ in 0..6 {
                    let id = stillroom::base::ids::PhotoId::new();
                    let place = format!("photo.picture.{id}");
                    let sealed =
                        stillroom::store::sealed::seal(tx.db(), keys.store.keys(), of.parse().unwrap(), &place, &jpeg)
                            .await?;
                    sqlx::query(
                        "insert into photo (id, client, consent, at, taken_by, moment, width, height, picture)
                         select $1, client, consent, at, taken_by, moment, width, height, $2 from photo where id = $3",
                    )
                    .bind(id.to_string())
                    .bind(sealed)
                    .bind(&first)
                    .execute(tx.db())
                    .await?;
                }
                tx.record_tells_itself();
                Ok(stillroom::store::Kept::see(""))
            })
        })
        .await
        .unwrap();
    let now = house.clock.now().0.0;
    for month in 0..60_i64 {
        let at = now - month * 30 * stillroom::base::time::DAY;
        house
            .run(&format!(
                "insert into exposure (id, client, product, lot, at, kind, source)
                 select '{}', '{client}', min(id), 'L{month}', {at}, 'treatment', 'visit-{month}' from product",
                stillroom::base::ids::ExposureId::new()
            ))
            .await
            .unwrap();
        if month % 5 == 0 {
            crate::clearance::old_test(house, &client, month * 30 + 3).await;
        }
        if month % 6 == 0 {
            crate::clearance::answer(house, &client, "nothing").await;
        }
    }
    for day in ["2024-03-01T09:00", "2025-03-01T09:00"] {
        let path = format!("/door/clients/{client}/reactions");
        let form = a.form(&format!("{path}/new"), &path).await;
        let form = crate::clearance::reacted(house, form);
        a.submit(&form.with_all(&[("symptom", "itching"), ("noticed", day), ("exposed", ""), ("words", "Both rims.")]))
            .await
            .must(303);
    }
    // How long forty take is measured by `cargo bench --bench clients`.
    let answer = a.get(&format!("/door/clients/{client}/file.json")).await.must(200);
    let file = answer.json();
    assert_eq!(file["photos"].as_array().unwrap().len(), 8);
    assert!(answer.body.len() > 3_000_000, "{} bytes: are these photos large?", answer.body.len());
    let records = |heading: &str| {
        let part = file["parts"].as_array().unwrap().iter().find(|part| part["heading"] == heading).unwrap();
        part["records"].as_array().unwrap().len()
    };
    assert_eq!((records("Products and lots"), records("Patch tests"), records("Reactions")), (60, 12, 2));
    // The page to read shows each photo too.
    let page = a.page(&format!("/door/clients/{client}/file")).await;
    assert_eq!(page.text().matches("<figure>").count(), 8);
    let of_hers = format!("src=\"/door/clients/{client}/photos/");
    assert_eq!(page.text().matches(&of_hers).count(), 8);
});
