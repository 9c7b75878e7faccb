//! What is sealed at rest: no plain word of it in the database, nothing that opens in another place, and no start with another key.

use std::path::{Path, PathBuf};

use sqlx::Row;
use stillroom::store::{OpenOptions, Store, sealed};

use crate::house::{TestHouse, both_databases};
use crate::studio::Actor;

/// Every column of bytes of every table, as it lies in the database: what is sealed, and words kept as bytes.
async fn raw(house: &TestHouse) -> Vec<(String, Vec<u8>)> {
    let mut db = house.past().await;
    let mut all = Vec::new();
    for (table, column) in columns_of_bytes() {
        let text = format!("select {column} from {table} where {column} is not null");
        for row in sqlx::query(sqlx::AssertSqlSafe(text)).fetch_all(&mut db).await.unwrap() {
            all.push((format!("{table}.{column}"), row.get::<Vec<u8>, _>(0)));
        }
    }
    all
}

/// Every column of bytes, by the migrations.
pub(crate) fn columns_of_bytes() -> Vec<(String, String)> {
    let mut found = Vec::new();
    for file in std::fs::read_dir(Path::new(env!("CARGO_MANIFEST_DIR")).join("migrations")).unwrap() {
        let text = std::fs::read_to_string(file.unwrap().path()).unwrap();
        let mut table = "";
        for line in text.lines() {
            table = line.strip_prefix("create table ").map_or(table, |name| name.trim_end_matches(" ("));
            let mut words = line.split_whitespace();
            if let (Some(column), Some("bytea" | "bytea,")) = (words.next(), words.next()) {
                found.push((table.to_owned(), column.to_owned()));
            }
        }
    }
    assert!(found.len() >= 18, "only {found:?}: are migrations written in another way now?");
    found
}

fn holds(bytes: &[u8], word: &str) -> bool {
    bytes.windows(word.len()).any(|window| window.eq_ignore_ascii_case(word.as_bytes()))
}

both_databases!(no_word_about_health_and_no_signature_lies_in_the_clear, async |house| {
    let mut a = house.actor(Actor::ArtistA);
    let page = format!("/door/clients/{}/consultations/{}", house.things.client, house.things.consultation);
    let form = a.form(&page, &format!("{page}/advice")).await;
    let form =
        form.with_all(&[("from", "Dr Aune"), ("dated", "1 Feb"), ("words", "Rosacea of the lids."), ("may", "no")]);
    a.submit(&form).await.must(303);

    let mut all = raw(house).await;
    // Names are searched, and files wait to be read in: bytes, and not sealed.
    all.retain(|(of, _)| {
        !["client_word.word", "client_import.content", "reading_import.content"].contains(&of.as_str())
    });
    for column in ["consultation.answers", "medical_advice.advice", "consent.signed", "client_key.wrapped"] {
        assert!(all.iter().any(|(of, _)| of == column), "{column} was not filled");
    }
    for (column, bytes) in &all {
        // Long enough that sealed bytes do not spell one by chance: three letters would stand in every twentieth house.
        for word in [
            "gentle fen",
            "precaution",
            "hay fever",
            "dr aune",
            "rosacea",
            "lovell",
            "ines okafor",
            "drawn",
            "[[100,800",
            "answer",
        ] {
            assert!(!holds(bytes, word), "{column} holds “{word}”");
        }
    }
    // Nor anywhere else: in SQLite's files, with their log; in our own archive's words on PostgreSQL, which read every table.
    for (place, bytes) in everywhere(house).await {
        for word in ["Gentle Fen", "hay fever or another allergy that makes", "rosacea", "[[100,800"] {
            // The questions themselves are no secret once the owner has changed one; here nobody has.
            assert!(!holds(&bytes, word), "{place} holds “{word}”");
        }
    }
});

/// Every byte the house keeps: the files of the data folder, SQLite's among them; on PostgreSQL every row of every table as well.
pub(crate) async fn everywhere(house: &TestHouse) -> Vec<(String, Vec<u8>)> {
    let files: Vec<PathBuf> =
        std::fs::read_dir(house.folder.join("data")).unwrap().map(|entry| entry.unwrap().path()).collect();
    let read = |file: &PathBuf| (file.display().to_string(), std::fs::read(file).unwrap());
    let mut all: Vec<_> = files.iter().filter(|file| file.is_file()).map(read).collect();
    if house.is_sqlite() {
        assert!(all.iter().any(|(name, bytes)| name.ends_with("stillroom.db") && !bytes.is_empty()));
        return all;
    }
    let mut db = house.past().await;
    for table in crate::house::TABLES {
        // Rows as text; columns of bytes are written in hexadecimal, so those are read apart.
        let text = format!("select cast(t as text) from {table} t");
        for row in sqlx::query(sqlx::AssertSqlSafe(text)).fetch_all(&mut db).await.unwrap() {
            all.push((table.to_owned(), row.get::<String, _>(0).into_bytes()));
        }
    }
    all.extend(raw(house).await);
    all
}

both_databases!(what_is_sealed_for_one_place_and_client_does_not_open_elsewhere, async |house| {
    let keys = house.house.store.keys();
    let (ada, twin) = (house.things.client.parse().unwrap(), house.things.twin.parse().unwrap());
    house
        .write({
            let store = house.house.store.clone();
            move |tx| {
                let store = store.clone();
                Box::pin(async move {
                    let sealed = sealed::seal(tx.db(), store.keys(), ada, "test.words.1", b"of hers").await?;
                    let other = sealed::seal(tx.db(), store.keys(), twin, "test.words.1", b"of the other").await?;
                    let open = async |db: &mut _, client, place, sealed: &[u8]| {
                        sealed::open(db, store.keys(), client, place, sealed).await
                    };
                    assert_eq!(open(tx.db(), ada, "test.words.1", &sealed).await?.unwrap(), b"of hers");
                    assert!(open(tx.db(), ada, "test.words.2", &sealed).await.is_err());
                    assert!(open(tx.db(), twin, "test.words.1", &sealed).await.is_err());
                    assert!(open(tx.db(), ada, "test.words.1", &other).await.is_err());
                    // Her key gone, it is dark; nothing else is.
                    sealed::destroy(tx, ada).await?;
                    assert!(open(tx.db(), ada, "test.words.1", &sealed).await?.is_none());
                    assert_eq!(open(tx.db(), twin, "test.words.1", &other).await?.unwrap(), b"of the other");
                    tx.record_tells_itself();
                    Ok(stillroom::store::Kept::see(""))
                })
            }
        })
        .await
        .unwrap();
    let mut db = house.house.store.read().await.unwrap();
    let dark = stillroom::clients::health_answers(&mut db, keys, ada, house.clock.now().0).await.unwrap();
    assert_eq!(dark.answered, None, "what nobody can open is as if it had not been said");
    drop(db);
    house.actor(Actor::ArtistA).page(&format!("/door/clients/{}", house.things.client)).await.says("not asked yet");
});

both_databases!(another_sealing_key_or_none_is_named_at_the_start, async |house| {
    let needed = house.house.store.keys().sealing_id();
    assert_eq!(house.look("select value from setting where name = 'house.sealing_key'").await, needed);
    let keys = house.folder.join("keys");
    let file = keys.join("sealing.key");
    let kept = std::fs::read(&file).unwrap();
    let start = async || {
        let options = OpenOptions::of(&house.house.config, house.clock.clone());
        Store::open_beside(&options).await.err().map(|error| error.to_string()).unwrap_or_default()
    };
    assert_eq!(start().await, "");
    std::fs::remove_file(&file).unwrap();
    let lost = start().await;
    assert!(lost.contains(&needed) && lost.contains("missing"), "{lost}");
    // Serving, which makes keys for a new house, makes none for this one.
    let serving = serve(house).await;
    assert!(serving.contains(&needed) && !file.exists(), "{serving}");
    let foreign = other_key();
    std::fs::write(&file, &foreign).unwrap();
    let told = start().await;
    assert!(told.contains(&needed) && told.contains("opens nothing"), "{told}");
    assert_eq!(std::fs::read(&file).unwrap(), foreign, "a key that is there is never replaced");
    std::fs::write(&file, kept).unwrap();
    assert_eq!(start().await, "");
});

/// Opens as serving does, on the same database but another data folder, since this one's lock is taken.
async fn serve(house: &TestHouse) -> String {
    let mut options = OpenOptions::of(&house.house.config, house.clock.clone());
    options.data_dir = house.folder.join("other");
    Store::open(&options).await.err().map(|error| error.to_string()).unwrap_or_default()
}

/// A sealing key of another house.
fn other_key() -> Vec<u8> {
    let folder = tempfile::tempdir().unwrap();
    let options = |at: &Path| {
        let config = crate::house::config(at, None);
        OpenOptions::of(&config, stillroom::base::time::Clock::System)
    };
    let at = folder.path().to_owned();
    std::thread::spawn(move || {
        crate::house::in_runtime(async {
            let store = Store::open(&options(&at)).await.unwrap();
            store.close().await;
        });
        std::fs::read(at.join("keys/sealing.key")).unwrap()
    })
    .join()
    .unwrap()
}
