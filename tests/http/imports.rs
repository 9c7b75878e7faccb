//! A logger's file on its way in: preview, faulty rows named, questions, nothing added twice, going on after a restart.

use stillroom::rooms::go_on_with_imports;

use crate::browser::{Answer, Browser};
use crate::forms::settled;
use crate::house::{TestHouse, both_databases};
use crate::html;
use crate::random::Random;
use crate::studio::{Actor, LOGGER_FILE};

/// Sends a file for Gable; the page that it leads to.
async fn upload(house: &TestHouse, who: &mut Browser, name: &str, content: &[u8]) -> String {
    let gable = format!("/rooms/{}", house.things.gable);
    let form = who.form(&format!("{gable}/imports/new"), &format!("{gable}/imports")).await.with("instrument", "new");
    who.submit_file(&form, name, content).await.goes_to()
}

/// Takes the rows of a previewed file and waits until they are in.
async fn take(house: &TestHouse, who: &mut Browser, page: &str) -> Answer {
    let form = who.form(page, &format!("{page}/take")).await;
    assert_eq!(who.submit(&form).await.goes_to(), page);
    settled(house).await;
    who.page(page).await
}

/// A file with a row every ten minutes.
fn long_file(rows: usize) -> String {
    let mut text = "time,temperature °C,humidity %\n".to_owned();
    for row in 0..rows {
        let minutes = row * 10;
        let (day, hour, minute) = (1 + minutes / 1440, minutes / 60 % 24, minutes % 60);
        text.push_str(&format!("2026-01-{day:02} {hour:02}:{minute:02},21.{},4{}.0\n", row % 10, row % 7));
    }
    text
}

both_databases!(a_file_without_a_row_says_so_and_has_nothing_to_keep, async |house| {
    let mut artist = house.actor(Actor::ArtistA);
    let page = upload(house, &mut artist, "bare.csv", b"time,temperature C,humidity %\n").await;
    let preview = artist.page(&page).await;
    preview.says("Nothing stands below the line that names the columns.");
    assert!(!preview.words().contains("every row can be read"), "{}", preview.words());
    let form = preview.form(&format!("{page}/drop"));
    artist.submit(&form).await.must(303);
});

both_databases!(what_is_said_of_the_other_rows_of_a_file_is_true, async |house| {
    const HEAD: &str = "time,temperature C,humidity %";
    let bad = |minute: u32| format!("2026-02-16 08:{minute:02},warm,41.0");
    let good = |minute: u32| format!("2026-02-16 09:{minute:02},20.5,41.0");
    let mut artist = house.actor(Actor::ArtistA);
    for (rows, says) in [
        (vec![bad(1)], ["The one row cannot be read and is named below.", "not one row can be read"]),
        (vec![bad(1), bad(2)], ["Not one of 2 rows can be read; named below.", "not one row can be read"]),
        (
            vec![bad(1), good(1)],
            ["1 of 2 rows can be read. One cannot and is named below.", "the other row can be read"],
        ),
        (
            vec![bad(1), good(1), bad(2), good(2)],
            ["2 of 4 rows can be read. 2 cannot; named below.", "the other 2 rows can be read"],
        ),
        (vec![good(3)], ["The one row can be read.", "every row can be read"]),
    ] {
        let content = format!("{HEAD}\n{}\n", rows.join("\n"));
        let page = upload(house, &mut artist, "attic.csv", content.as_bytes()).await;
        let preview = artist.page(&page).await;
        for sentence in says {
            preview.says(sentence);
        }
        let any = rows.iter().any(|row| row.contains("20.5"));
        assert_eq!(preview.words().contains("Keep "), any, "{rows:?}");
    }
    let page = upload(house, &mut artist, "attic.csv", format!("{HEAD}\n{}\n", good(4)).as_bytes()).await;
    artist.page(&page).await.says("Keep 1 reading");
    take(house, &mut artist, &page).await.says("1 reading was added; 0 were here already.");
    let page = upload(house, &mut artist, "attic.csv", format!("{HEAD}\n{}\n{}\n", good(4), good(5)).as_bytes()).await;
    take(house, &mut artist, &page).await.says("1 reading was added; 1 was here already.");

    let mut desk = house.actor(Actor::Desk);
    let form = desk.form("/door/clients/import", "/door/clients/import").await;
    let page = desk.submit_file(&form, "clients.csv", b"name,born\n,1994-03-07\n").await.goes_to();
    let preview = desk.page(&page).await;
    preview.says("not one row can be read");
    assert!(!preview.words().contains("Add "), "{}", preview.words());
});

both_databases!(a_file_is_shown_before_anything_is_kept_and_its_good_rows_then_are, async |house| {
    let mut artist = house.actor(Actor::ArtistA);
    let page = format!("/rooms/{}/imports/{}", house.things.gable, house.things.import);
    let preview = artist.page(&page).await;
    preview.says("3 of 4 rows can be read. One cannot and is named below.");
    // The faulty row by its line, as it stands in the file, and why.
    preview.says("2026-02-17 09:20,warm,42.0");
    assert_eq!(house.number("select count(*) from reading").await, 0);

    let early = upload(house, &mut artist, "attic.csv", LOGGER_FILE.as_bytes()).await;
    let early_form = artist.form(&early, &format!("{early}/take")).await;
    take(house, &mut artist, &page).await.says("3 readings were added; 0 were here already.");
    assert_eq!(house.number("select count(*) from reading").await, 3);
    // 09:00 on the studio's wall is 08:00 UTC.
    let first = house.number("select min(at) from reading").await;
    assert_eq!(stillroom::base::time::Instant(first).iso(), "2026-02-17T08:00:00Z");
    let giver = house.look("select max(given_by) from reading").await;
    assert!(giver.starts_with("person:"), "{giver}");
    assert_eq!(
        house.number("select count(*) from reading_import where state = 'taken' and length(content) > 0").await,
        0,
        "the file is not kept"
    );

    // The same file again: nothing new, and it says so, whenever it was handed in.
    assert_ne!(early, page);
    artist.submit(&early_form).await.goes_to();
    settled(house).await;
    artist.page(&early).await.says("Every reading of this file was here already. Nothing was added.");
    let again = upload(house, &mut artist, "attic.csv", LOGGER_FILE.as_bytes()).await;
    let preview = artist.page(&again).await;
    preview.says("New 0 readings");
    assert!(!html::forms(&preview.text()).iter().any(|form| form.action.ends_with("/take")), "nothing to keep");
    assert_eq!(house.number("select count(*) from reading").await, 3);
    assert_eq!(house.number("select count(*) from instrument where kind = 'logger'").await, 1);
});

both_databases!(the_preview_counts_a_row_as_what_it_becomes_once_it_is_taken, async |house| {
    let mut artist = house.actor(Actor::ArtistA);
    // Off the scale, a jump beside the row before it, and the first instant twice.
    let file = "time,temperature °C,humidity %\n2026-02-16 09:00,20.5,41.0\n2026-02-16 09:10,20.6,140.0\n\
                2026-02-16 09:20,39.0,42.0\n2026-02-16 09:00,20.5,41.0\n2026-02-16 09:30,20.8,42.5\n";
    let page = upload(house, &mut artist, "attic.csv", file.as_bytes()).await;
    let preview = artist.page(&page).await;
    preview.says("All 5 rows can be read.");
    for said in ["New 2 readings", "Set aside 2 readings", "Already here 1 reading", "Keep 4 readings"] {
        preview.says(said);
    }
    preview.says("140.0 %RH is off the scale of 0 to 100 %RH.");
    preview.says("It is 18.5 °C away from the reading 20 min before. Rooms do not change so fast.");
    take(house, &mut artist, &page).await.says("4 readings were added, 2 of them set aside");
    assert_eq!(house.number("select count(*) from reading where set_aside = ''").await, 2);

    // A file with nothing else in it: it is told as it will be, beside what is here now, and may be kept all the same.
    let file = "time,temperature °C,humidity %\n2026-02-16 09:40,39.0,42.0\n";
    let page = upload(house, &mut artist, "attic.csv", file.as_bytes()).await;
    let preview = artist.page(&page).await;
    for said in ["New 0 readings", "Set aside 1 reading", "Keep 1 reading", "from the reading 10 min before"] {
        preview.says(said);
    }
    take(house, &mut artist, &page).await.says("1 reading was added and set aside");
    // A file in which every row counts says nothing of setting aside.
    let file = "time,temperature °C,humidity %\n2026-02-16 12:40,20.9,42.0\n";
    let page = upload(house, &mut artist, "attic.csv", file.as_bytes()).await;
    let preview = artist.page(&page).await;
    preview.says("New 1 reading");
    assert!(!preview.words().contains("Set aside"), "{}", preview.words());
});

both_databases!(a_file_may_be_left, async |house| {
    let mut artist = house.actor(Actor::ArtistA);
    let page = format!("/rooms/{}/imports/{}", house.things.gable, house.things.import);
    let form = artist.form(&page, &format!("{page}/drop")).await;
    artist.submit(&form).await.must(303);
    artist.page(&page).await.says("This file was left. Nothing was added.");
    go_on_with_imports(&house.house).await.unwrap();
    assert_eq!(house.number("select count(*) from reading").await, 0);
    assert_eq!(house.number("select count(*) from reading_import where length(content) > 0").await, 0);
});

both_databases!(a_file_that_is_being_taken_cannot_be_left_half_way, async |house| {
    let mut artist = house.actor(Actor::ArtistA);
    let page = format!("/rooms/{}/imports/{}", house.things.gable, house.things.import);
    // Two tabs show the preview; one takes the rows, the other leaves the file.
    let leave = artist.form(&page, &format!("{page}/drop")).await;
    house.run("update reading_import set state = 'taking', rows_all = 3").await.unwrap();
    artist.page(&page).await.says("0 of 3");
    artist.submit(&leave).await.must(303);
    go_on_with_imports(&house.house).await.unwrap();
    assert_eq!(house.look("select state from reading_import").await, "taken");
    assert_eq!(house.number("select count(*) from reading").await, 3);
});

both_databases!(a_file_that_leaves_day_and_month_open_is_asked_about, async |house| {
    let mut artist = house.actor(Actor::ArtistA);
    let file = "Date;Time;Temp (°C);RH %\n03/02/2026;10:00;21,5;40,5\n03/02/2026;10:10;21,6;41\n";
    for (order, first) in [("day_first", "2026-02-03T09:00:00Z"), ("month_first", "2026-03-02T09:00:00Z")] {
        let page = upload(house, &mut artist, &format!("{order}.csv"), file.as_bytes()).await;
        let question = artist.page(&page).await;
        question.says("The day comes first");
        question.says("The month comes first");
        assert!(!question.text().contains(&format!("{page}/take\"")), "nothing may be taken before the answer");
        // Taken all the same, from a page kept open: refused with words.
        let csrf = question.form(&format!("{page}/answers")).value("csrf").to_owned();
        let pairs = [("csrf", csrf.as_str()), ("form_key", &crate::doors::fresh_key())];
        artist.post(&format!("{page}/take"), &pairs).await.must(409);
        let answer = question.form(&format!("{page}/answers")).with("day_order", order);
        artist.submit(&answer).await.must(303);
        take(house, &mut artist, &page).await.says("2 readings were added");
        let at = house.number("select max(at) from reading").await - 600_000_000;
        assert_eq!(stillroom::base::time::Instant(at).iso(), first);
    }
    // The later one lies ahead of the clock and is set aside, not dropped.
    assert_eq!(house.number("select count(*) from reading where set_aside like '%ahead of the clock%'").await, 2);
});

both_databases!(taking_a_long_file_goes_on_after_a_restart, async |house| {
    let mut artist = house.actor(Actor::ArtistA);
    let page = upload(house, &mut artist, "january.csv", long_file(4000).as_bytes()).await;
    let id = page.rsplit('/').next().unwrap();
    artist.page(&page).await.says("All 4000 rows can be read.");
    house.run(&format!("update reading_import set state = 'taking', rows_all = 4000 where id = '{id}'")).await.unwrap();
    let inner = house.house.clone();
    let taking = tokio::spawn(async move { go_on_with_imports(&inner).await });
    let done = format!("select rows_done from reading_import where id = '{id}'");
    while house.number(&done).await == 0 {
        tokio::time::sleep(std::time::Duration::from_millis(2)).await;
    }
    artist.page(&page).await.says("of 4000. You can leave this page; it goes on.");
    // The process dies in the middle of a write.
    taking.abort();
    let half = house.number(&done).await;
    assert!(taking.await.is_err() && half > 0 && half < 4000, "{half} rows were in");
    house.house.store.close().await;

    let house = house.restarted().await;
    let kept = house.number("select count(*) from reading").await;
    assert_eq!(kept, house.number(&done).await, "each write notes how far it came");
    go_on_with_imports(&house.house).await.unwrap();
    assert_eq!(house.number("select count(*) from reading").await, 4000);
    assert_eq!(house.number(&format!("select rows_new from reading_import where id = '{id}'")).await, 4000);
    let mut artist = house.actor(Actor::ArtistA);
    artist.page(&page).await.says("4000 readings were added; 0 were here already.");
    // Any number of times more changes nothing.
    go_on_with_imports(&house.house).await.unwrap();
    assert_eq!(house.number("select count(*) from reading").await, 4000);
    house.house.store.close().await;
});

both_databases!(two_that_go_on_with_one_file_at_once_take_it_once, async |house| {
    let mut artist = house.actor(Actor::ArtistA);
    let page = upload(house, &mut artist, "january.csv", long_file(1500).as_bytes()).await;
    let id = page.rsplit('/').next().unwrap();
    house.run(&format!("update reading_import set state = 'taking', rows_all = 1500 where id = '{id}'")).await.unwrap();
    let (one, other) = (house.house.clone(), house.house.clone());
    let (one, other) = tokio::join!(
        tokio::spawn(async move { go_on_with_imports(&one).await }),
        tokio::spawn(async move { go_on_with_imports(&other).await })
    );
    one.unwrap().unwrap();
    other.unwrap().unwrap();
    settled(house).await;
    assert_eq!(house.number("select count(*) from reading").await, 1500);
    assert_eq!(house.number(&format!("select rows_new from reading_import where id = '{id}'")).await, 1500);
});

both_databases!(a_file_that_is_none_is_said_to_be_none, async |house| {
    let mut artist = house.actor(Actor::ArtistA);
    let gable = format!("/rooms/{}", house.things.gable);
    let form = artist.form(&format!("{gable}/imports/new"), &format!("{gable}/imports")).await;
    let answer = artist.submit_file(&form.clone().with("instrument", "new"), "empty.csv", b"").await.must(422);
    answer.says("This file is empty.");
    assert_eq!(answer.form(&format!("{gable}/imports")).value("instrument"), "new", "the choice is kept");
    artist.submit_file(&form.clone().with("instrument", "new"), "", b"").await.must(422).says("Choose a file.");
    let answer = artist.submit_file(&form.clone().with("instrument", "0192f0c1"), "a.csv", b"a").await.must(422);
    answer.says("Choose one of these.");

    let small = house.configured(|config| config.max_upload_mb = 1);
    let mut who = small.actor(Actor::ArtistA);
    let answer = who.submit_file(&form.with("instrument", "new"), "large.csv", &vec![b'1'; 1_000_001]).await.must(422);
    answer.says("The file is larger than 1 MB.");
    assert_eq!(house.number("select count(*) from reading_import").await, 1);
});

both_databases!(broken_files_are_told_of_in_words, async |house| {
    let mut artist = house.actor(Actor::ArtistA);
    let mut random = Random(7);
    let good = [
        LOGGER_FILE,
        "Date;Time;Temp (°C);RH %\n03/02/2026;10:00;21,5;40,5\n",
        "1770000000,21.5,40\n1770000600,21.6,41\n",
    ];
    let mut unreadable = 0;
    for n in 0..60 {
        let mut file = random.one(&good).as_bytes().to_vec();
        for _ in 0..1 + random.below(6) {
            let at = random.below(file.len());
            match random.below(5) {
                0 => file[at] = random.next().to_le_bytes()[0],
                1 => file.truncate(at.max(1)),
                2 => file.insert(at, random.next().to_le_bytes()[0]),
                3 => file.extend_from_within(at..),
                _ => drop(file.drain(at..)),
            }
            if file.is_empty() {
                file.push(b'x');
            }
        }
        let page = upload(house, &mut artist, &format!("broken{n}.csv"), &file).await;
        let shown = artist.page(&page).await;
        unreadable += usize::from(shown.words().contains("Choose another file"));
        if shown.text().contains(&format!("{page}/take\"")) {
            let shown = take(house, &mut artist, &page).await;
            let told = ["readings were added", "reading was added", "Nothing was added"];
            assert!(told.iter().any(|told| shown.words().contains(told)), "{}", shown.words());
        }
    }
    assert!(unreadable > 5, "hardly any file was broken: {unreadable}");
});
