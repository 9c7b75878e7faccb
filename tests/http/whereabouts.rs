//! Which room an artist's advice opens in: her open card, her own word, the book.

use stillroom::base::time::{DAY, HOUR, MINUTE};
use stillroom::jobs;

use crate::advice::{at_no_bed, read_air};
use crate::browser::Browser;
use crate::house::{TestHouse, both_databases};
use crate::studio::Actor;

/// Ines, at no bed: her card is closed and nobody is booked. Both rooms are read.
async fn ines_at_no_bed(house: &TestHouse) -> Browser {
    at_no_bed(house).await;
    for room in [&house.things.gable, &house.things.lantern] {
        read_air(&mut house.owner(), room, "22", "45").await;
    }
    house.actor(Actor::ArtistA)
}

async fn opens_in(ines: &mut Browser, room: &str) {
    ines.page("/").await.says(&format!("My advice in {room}"));
}

async fn opens_not_in(ines: &mut Browser, room: &str, why: &str) {
    let page = ines.page("/").await;
    page.says("My advice in");
    assert!(!page.words().contains(&format!("My advice in {room}")), "{why}: {}", page.words());
}

/// Her furnished appointment, so many microseconds after now, an hour long, on this bed.
async fn booked(house: &TestHouse, bed: &str, after: i64) {
    let starts = house.clock.now().0.0 + after;
    let ends = starts + HOUR;
    let text = format!(
        "update appointment set state = 'booked', bed = '{bed}', starts = {starts}, ends = {ends}, busy_from = {starts},
         busy_to = {ends} where id = '{}'",
        house.things.book.begun
    );
    house.run(&text).await.unwrap();
}

/// Her furnished card, open since so long ago in a room.
async fn at_the_bed(house: &TestHouse, room: &str, ago: i64) {
    let begun = house.clock.now().0.0 - ago;
    let card = &house.things.cards.open;
    house
        .run(&format!("update card set closed = null, begun = {begun}, room = '{room}' where id = '{card}'"))
        .await
        .unwrap();
}

async fn says_she_works_in(house: &TestHouse, ines: &mut Browser, room: &str) {
    house.clock.advance(MINUTE);
    let page = ines.page(&format!("/rooms/{room}/advice")).await;
    ines.submit(&page.form(&format!("/rooms/{room}/here"))).await.goes_to();
}

both_databases!(her_appointment_of_now_or_her_next_of_today_says_where_she_works, async |house| {
    let things = &house.things;
    let mut ines = ines_at_no_bed(house).await;
    opens_not_in(&mut ines, "Lantern", "nobody has said where she works").await;
    for after in [-HOUR / 2, 0, 3 * HOUR] {
        booked(house, &things.book.spare_bed, after).await;
        opens_in(&mut ines, "Lantern").await;
    }
    for (after, why) in [(-HOUR, "it is over"), (-2 * HOUR, "it is long over"), (DAY, "it is tomorrow")] {
        booked(house, &things.book.spare_bed, after).await;
        opens_not_in(&mut ines, "Lantern", why).await;
    }
    booked(house, &things.book.spare_bed, 0).await;
    house.run("update appointment set state = 'no_show' where state = 'booked'").await.unwrap();
    opens_not_in(&mut ines, "Lantern", "nobody came").await;
    booked(house, &things.book.spare_bed, 0).await;
    house.run("update appointment set bed = null").await.unwrap();
    opens_not_in(&mut ines, "Lantern", "it takes no bed").await;
});

both_databases!(her_word_wins_over_the_book_and_her_open_card_over_her_word, async |house| {
    let things = &house.things;
    let mut ines = ines_at_no_bed(house).await;
    booked(house, &things.book.spare_bed, 0).await;
    says_she_works_in(house, &mut ines, &things.gable).await;
    opens_in(&mut ines, "Gable").await;
    at_the_bed(house, &things.lantern, HOUR).await;
    opens_in(&mut ines, "Lantern").await;
    says_she_works_in(house, &mut ines, &things.cellar).await;
    opens_in(&mut ines, "Lantern").await;
    // One that was forgotten on another day says nothing of today, and neither does one whose room was closed.
    at_the_bed(house, &things.lantern, DAY).await;
    opens_in(&mut ines, "Cellar").await;
    at_the_bed(house, &things.lantern, HOUR).await;
    house.run(&format!("update room set closed = 1 where id = '{}'", things.lantern)).await.unwrap();
    opens_in(&mut ines, "Cellar").await;
});

both_databases!(what_she_reads_where_card_or_book_say_she_works_is_kept_as_shown_for_work, async |house| {
    let things = &house.things;
    let mut ines = ines_at_no_bed(house).await;
    let rows =
        async |room: &str| house.number(&format!("select count(*) from advice_shown where room = '{room}'")).await;
    let mut open = async |room: &str| {
        ines.page(&format!("/rooms/{room}/advice")).await;
        jobs::finish(&house.house).await;
    };
    open(&things.lantern).await;
    assert_eq!(rows(&things.lantern).await, 0, "nobody has said where she works");
    booked(house, &things.book.spare_bed, HOUR).await;
    open(&things.lantern).await;
    open(&things.gable).await;
    assert_eq!((rows(&things.lantern).await, rows(&things.gable).await), (1, 0), "the book says Lantern");
    at_the_bed(house, &things.gable, HOUR).await;
    open(&things.gable).await;
    assert_eq!((rows(&things.lantern).await, rows(&things.gable).await), (1, 1), "her card says Gable");
});
