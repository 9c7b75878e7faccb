//! How long a search as one types takes among many clients, and among few in the same run: `cargo bench --bench clients`. Timed is
//! what the page's script waits for but for the network: a connection, the statements, the rows.
//!
//! Then how long the file of one client takes who came for five years: sixty visits with their cards, tests, answers, and forty photos
//! as large as they are kept. Timed are whole requests, as the owner sends them: the JSON with every photo in it, and the page to read
//! with every photo it shows. Ten seconds for all of it are promised.

mod studio;

use std::io::Cursor;
use std::sync::Arc;
use std::time::Duration;

use axum::Router;
use axum::body::{Body, Bytes, to_bytes};
use axum::http::{Request, StatusCode, header};
use criterion::{Criterion, criterion_group, criterion_main};
use image::{DynamicImage, ImageFormat, Rgb, RgbImage};
use sqlx::Row;
use stillroom::adhesives::{Bead, Liquids};
use stillroom::base::ids::{CardId, CardPartId, ClientId, ConsultationId, ExposureId, PatchTestId, PhotoId};
use stillroom::base::problem::Problem;
use stillroom::base::time::{DAY, HOUR, MINUTE};
use stillroom::book::VisitKind;
use stillroom::cards::card::{Aftercare, Card, Count, Lash, Lids, Remover, Side};
use stillroom::cards::{SeedCard, seed_cards};
use stillroom::clients::photos::clean::clean;
use stillroom::store::{FormKey, Kept, Store, sealed};
use stillroom::web::{House, serve};
use stillroom::{clients, demo, places};
use tower::ServiceExt;

const MANY: usize = 50_000;
const FEW: usize = 500;

/// What somebody types, letter by letter: two letters that hundreds begin with, a whole name, two beginnings, the end of a number, and
/// nobody.
const TYPED: [&str; 5] = ["lo", "lovell4", "anna1 lov", "04999", "zz"];

const FIRST: [&str; 10] = ["anna", "mari", "lotte", "bea", "clara", "dina", "ester", "frida", "greta", "hanna"];
const LAST: [&str; 10] = ["lovell", "marsh", "lund", "dahl", "berg", "falk", "holm", "lien", "roth", "toft"];

async fn house(many: usize) -> (Store, tempfile::TempDir) {
    let (store, _, folder) = studio::empty(None).await;
    for from in (0..many).step_by(500) {
        let key = FormKey::house();
        let write = store.write(&key, move |tx| {
            Box::pin(async move {
                for n in from..from + 500 {
                    let id = ClientId::new().to_string();
                    let (first, last) =
                        (format!("{}{}", FIRST[n % 10], n % 997), format!("{}{}", LAST[n / 10 % 10], n % 89));
                    let phone = format!("{}", 20_000_000 + n);
                    sqlx::query(
                        "insert into client (id, name, name_key, sound, phone, phone_digits, email, email_key, notes, created)
                         values ($1, $2, $2, '', $3, $3, '', '', '', 1)",
                    )
                    .bind(&id)
                    .bind(format!("{first} {last}"))
                    .bind(&phone)
                    .execute(tx.db())
                    .await?;
                    for word in [first.as_bytes(), last.as_bytes(), phone.as_bytes(), &phone.as_bytes()[3..]] {
                        sqlx::query("insert into client_word (client, word) values ($1, $2) on conflict (client, word) do nothing")
                            .bind(&id)
                            .bind(word.to_vec())
                            .execute(tx.db())
                            .await?;
                    }
                }
                tx.record_tells_itself();
                Ok(Kept::see(""))
            })
        });
        write.await.expect("clients");
    }
    (store, folder)
}

fn searching(bench: &mut Criterion) {
    let runtime = tokio::runtime::Builder::new_multi_thread().enable_all().build().expect("a runtime");
    for many in [FEW, MANY] {
        let (store, _folder) = runtime.block_on(house(many));
        for typed in TYPED {
            let find = async || {
                let mut db = store.read().await.expect("a snapshot");
                clients::find(&mut db, typed, 20).await.expect("an answer").len()
            };
            let found = runtime.block_on(find());
            assert!(typed == "zz" || many == FEW || found > 0, "“{typed}” finds nobody");
            bench.bench_function(&format!("{many} clients, “{typed}”, {found} shown"), |bench| {
                bench.iter(|| runtime.block_on(find()));
            });
        }
    }
}

const VISITS: i64 = 60;
const PHOTOS: usize = 40;

/// The invented studio, and in it one client's five years.
struct FiveYears {
    app: Router,
    cookies: String,
    client: String,
    _folder: tempfile::TempDir,
}

impl FiveYears {
    async fn begin() -> Self {
        let (store, config, folder) = studio::empty(None).await;
        let house = House::new(store, config, true);
        demo::fill_with(&house, 1).await.expect("people, clients and services");
        let client = came_for_years(&house).await;
        let app = serve::app(&house, places::routes());
        let cookies = studio::sign_in(&app).await;
        Self { app, cookies, client: client.to_string(), _folder: folder }
    }

    async fn get(&self, path: &str) -> Bytes {
        let asked = Request::get(path).header(header::COOKIE, &self.cookies).body(Body::empty()).expect("a request");
        let answer = self.app.clone().oneshot(asked).await.expect("an answer");
        assert_eq!(answer.status(), StatusCode::OK, "{path}");
        to_bytes(answer.into_body(), usize::MAX).await.expect("a body")
    }

    /// The file with its photos inside.
    async fn as_json(&self) -> Bytes {
        self.get(&format!("/door/clients/{}/file.json", self.client)).await
    }

    /// The page to read, every entry open, and each photo it shows; how many those are.
    async fn to_read(&self) -> usize {
        let page = self.get(&format!("/door/clients/{}/file?open=yes", self.client)).await;
        let page = String::from_utf8(page.to_vec()).expect("text");
        let start = format!("src=\"/door/clients/{}/photos/", self.client);
        let photos: Vec<&str> = page.split(&start).skip(1).filter_map(|rest| rest.split('"').next()).collect();
        for photo in &photos {
            let jpeg = self.get(&format!("/door/clients/{}/photos/{photo}", self.client)).await;
            assert!(jpeg.starts_with(&[0xff, 0xd8]), "no JPEG");
        }
        photos.len()
    }
}

/// Gives the invented client who agreed to photos five years of everything a file holds.
async fn came_for_years(house: &House) -> ClientId {
    let (client, consent, artist, room, bottle, product) = {
        let mut db = house.store.read().await.expect("a snapshot");
        let photo = "select p.client, p.consent from photo p join client c on c.id = p.client where c.keeper is null";
        let row = sqlx::query(photo).fetch_all(&mut *db).await.expect("photos").into_iter().next().expect("a photo");
        let mut one =
            async |text: &'static str| sqlx::query(text).fetch_one(&mut *db).await.expect("a row").get::<String, _>(0);
        let client: ClientId = row.get::<String, _>(0).parse().expect("an id");
        (
            client,
            row.get::<String, _>(1),
            one("select min(id) from artist").await,
            one("select min(id) from room").await,
            one("select min(id) from bottle where finished is null").await,
            one("select min(id) from product").await,
        )
    };
    let now = house.store.clock().now().0;
    let visit = |n: i64| now.plus(-DAY * 30 * n - 5 * HOUR);
    let card = |n: i64| {
        let begun = visit(n);
        let at = begun.plus(90 * MINUTE);
        let count =
            |side| Count { id: CardPartId::new(), side, lash: Lash::Single, placed: 92, zone: None, strips: None, at };
        SeedCard {
            card: Card {
                id: CardId::new(),
                appointment: None,
                client,
                artist: artist.parse().expect("an id"),
                room: room.parse().expect("an id"),
                kind: if n % 6 == 0 { VisitKind::FullSet } else { VisitKind::Infill },
                lids: Lids::Upper,
                begun,
                closed: Some(begun.plus(120 * MINUTE)),
                paper: None,
                entered: (begun, "person:of the bench".to_owned()),
                clearance: "cleared".to_owned(),
                air: Some((21.5, 44.0)),
                advice: None,
                advised_class: String::new(),
                advised_bottle: None,
                bottle: Some(bottle.parse().expect("an id")),
                lot: format!("H-{n}"),
                bead: Bead::Medium,
                liquids: Liquids::NONE,
                style: None,
                supervisor: None,
                elsewhere: false,
                first_card: None,
                remover: Remover::default(),
                next_visit: "in three weeks".to_owned(),
                aftercare: Aftercare::Told,
                hygiene: Vec::new(),
                version: 1,
            },
            counts: vec![count(Side::Left), count(Side::Right)],
            zones: Vec::new(),
            arrival: Vec::new(),
            corrected: None,
        }
    };
    seed_cards(house, (0..VISITS).map(card).collect()).await.expect("cards");
    beside_the_cards(house, client, &consent, &product).await.expect("five years");
    client
}

/// What she met at each visit, a test and answers twice a year, and the photos.
async fn beside_the_cards(house: &House, client: ClientId, consent: &str, product: &str) -> Result<(), Problem> {
    let picture = Arc::new(photo());
    let (inner, consent, product) = (house.clone(), consent.to_owned(), product.to_owned());
    let key = FormKey::house();
    let write = house.store.write(&key, move |tx| {
        let (house, picture) = (inner.clone(), Arc::clone(&picture));
        let (consent, product, client_id) = (consent.clone(), product.clone(), client.to_string());
        Box::pin(async move {
            let (now, keys) = (tx.now.0, house.store.keys());
            let mut there = 0_usize;
            for row in sqlx::query("select id from photo where client = $1").bind(&client_id).fetch_all(tx.db()).await? {
                there += usize::from(!row.get::<String, _>(0).is_empty());
            }
            for _ in there..PHOTOS {
                let id = PhotoId::new();
                let kept = sealed::seal(tx.db(), keys, client, &format!("photo.picture.{id}"), &picture).await?;
                let row = sqlx::query(
                    "insert into photo (id, client, consent, at, taken_by, moment, width, height, picture)
                     select $1, client, consent, at, taken_by, moment, 2048, 1536, $2 from photo where consent = $3 limit 1",
                );
                row.bind(id.to_string()).bind(kept).bind(&consent).execute(tx.db()).await?;
            }
            for n in 0..VISITS {
                let at = now.plus(-DAY * 30 * n - 5 * HOUR);
                let row = sqlx::query(
                    "insert into exposure (id, client, product, lot, at, kind, source) values ($1, $2, $3, $4, $5, 'treatment', $6)",
                );
                let row = row.bind(ExposureId::new().to_string()).bind(&client_id).bind(&product).bind(format!("H-{n}"));
                row.bind(at.0).bind(format!("visit {n}")).execute(tx.db()).await?;
                if n % 6 > 0 {
                    continue;
                }
                let row = sqlx::query(
                    "insert into patch_test (id, client, method, number_placed, placed, placed_by, read_at, read_by, result, created)
                     values ($1, $2, 'lashes', 3, $3, '', $4, '', 'no reaction seen', 1)",
                );
                let row = row.bind(PatchTestId::new().to_string()).bind(&client_id);
                row.bind(at.plus(-3 * DAY).0).bind(at.plus(-HOUR).0).execute(tx.db()).await?;
                let id = ConsultationId::new();
                let answer = |n: i64| {
                    serde_json::json!({
                        "key": format!("q{n}"), "group": "Eyes", "question": "Is there anything to know about the eyes?",
                        "answer": "no", "effect": "nothing", "then": "",
                    })
                };
                let answers = serde_json::json!({ "answers": (0..24).map(answer).collect::<Vec<_>>(), "guardian": "" });
                let place = format!("consultation.answers.{id}");
                let kept = sealed::seal(tx.db(), keys, client, &place, answers.to_string().as_bytes()).await?;
                let row = sqlx::query(
                    "insert into consultation (id, client, version, at, given_by, taken_by, answers)
                     select $1, $2, 0, $3, 'asked', person, $4 from claim",
                );
                row.bind(id.to_string()).bind(&client_id).bind(at.0).bind(kept).execute(tx.db()).await?;
            }
            tx.record_tells_itself();
            Ok(Kept::see(""))
        })
    });
    write.await.map(|_| ())
}

/// A picture of skin with grain in it, as large as photos are kept, after the same cleaning.
fn photo() -> Vec<u8> {
    let grainy = RgbImage::from_fn(2048, 1536, |x, y| {
        let grain = (x.wrapping_mul(2_654_435_761).wrapping_add(y.wrapping_mul(40_503)) >> 13).to_le_bytes();
        Rgb([180 - (grain[0] & 31), 140 - (grain[0] >> 5) * 4, 120])
    });
    let mut file = Cursor::new(Vec::new());
    DynamicImage::ImageRgb8(grainy).write_to(&mut file, ImageFormat::Png).expect("a picture");
    clean(&file.into_inner()).expect("a photo").jpeg
}

fn exporting(bench: &mut Criterion) {
    let runtime = tokio::runtime::Builder::new_multi_thread().enable_all().build().expect("a runtime");
    let her = runtime.block_on(FiveYears::begin());
    let file = runtime.block_on(her.as_json());
    let read: serde_json::Value = serde_json::from_slice(&file).expect("JSON");
    assert_eq!(read["photos"].as_array().map(Vec::len), Some(PHOTOS), "not every photo is in her file");
    assert_eq!(runtime.block_on(her.to_read()), PHOTOS, "not every photo is on her page");
    let megabytes = file.len() / 1_000_000;
    let mut group = bench.benchmark_group("the file of five years");
    group.sample_size(10).measurement_time(Duration::from_secs(60));
    group.bench_function(format!("as JSON with {PHOTOS} photos, {megabytes} MB"), |bench| {
        bench.iter(|| runtime.block_on(her.as_json()));
    });
    group.bench_function(format!("to read, with {PHOTOS} photos"), |bench| {
        bench.iter(|| runtime.block_on(her.to_read()));
    });
    group.finish();
}

criterion_group!(all, searching, exporting);
criterion_main!(all);
