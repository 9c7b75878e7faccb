//! Advice that was shown for work: kept once a question, after the page was answered, and never at its cost.

use std::time::Duration;

use sqlx::Connection as _;
use stillroom::advice;
use stillroom::base::problem::Problem;
use stillroom::base::time::{DAY, MINUTE};
use stillroom::jobs;
use tokio::sync::oneshot;
use tokio::time::timeout;

use crate::advice::{advice_of, at_no_bed, bench, read_air, take};
use crate::browser::Browser;
use crate::house::{TestHouse, both_databases};
use crate::studio::Actor;

/// Ines, who has said that she works in Gable, whose air was read.
async fn ines_in_gable(house: &TestHouse) -> Browser {
    let mut ines = house.actor(Actor::ArtistA);
    at_no_bed(house).await;
    read_air(&mut house.owner(), &house.things.gable, "22", "45").await;
    let page = ines.page(&here(house)).await;
    ines.submit(&page.form(&format!("/rooms/{}/here", house.things.gable))).await.goes_to();
    jobs::finish(&house.house).await;
    assert_eq!(rows(house).await, 0, "before she said so she worked nowhere");
    ines
}

/// The advice that opens on whoever is signed in.
fn here(house: &TestHouse) -> String {
    format!("/rooms/{}/advice", house.things.gable)
}

async fn open(house: &TestHouse, browser: &mut Browser, path: &str) {
    browser.page(path).await;
    jobs::finish(&house.house).await;
}

async fn rows(house: &TestHouse) -> i64 {
    house.number("select count(*) from advice_shown").await
}

async fn times(house: &TestHouse) -> i64 {
    house.number("select cast(coalesce(sum(times), 0) as bigint) from advice_shown").await
}

both_databases!(an_advice_shown_twice_is_one_row_and_two_times, async |house| {
    let mut ines = ines_in_gable(house).await;
    open(house, &mut ines, &here(house)).await;
    assert_eq!((rows(house).await, times(house).await), (1, 1));
    assert_eq!(house.look("select model from advice_shown").await, advice::for_work::MODEL);
    // A reload within the minute is the same showing.
    open(house, &mut ines, &here(house)).await;
    assert_eq!((rows(house).await, times(house).await), (1, 1));
    house.clock.advance(2 * MINUTE);
    open(house, &mut ines, &here(house)).await;
    assert_eq!((rows(house).await, times(house).await), (1, 2));
    assert_eq!(house.number("select last_at - first_at from advice_shown").await, 2 * MINUTE);
});

both_databases!(the_tile_of_the_day_sheet_and_the_page_behind_it_are_one_advice, async |house| {
    let mut ines = ines_in_gable(house).await;
    open(house, &mut ines, "/").await;
    assert_eq!((rows(house).await, times(house).await), (1, 1));
    let of_tile = house.look("select answer from advice_shown").await;
    house.clock.advance(2 * MINUTE);
    open(house, &mut ines, &here(house)).await;
    assert_eq!((rows(house).await, times(house).await), (1, 2));
    let id = house.look("select id from advice_shown").await;
    let page = ines.page(&format!("/advice/{id}")).await;
    page.says("was shown to Ines Okafor");
    page.says("Worked out again from what was kept, it gives the same answer.");
    assert!(of_tile.contains("\"bottles\""), "{of_tile}");
    // Other people's day sheets show her tile, too, and are none of her work.
    house.clock.advance(2 * MINUTE);
    open(house, &mut house.owner(), "/").await;
    assert_eq!(times(house).await, 2);
});

both_databases!(other_air_another_bead_and_another_test_are_other_rows, async |house| {
    let mut ines = ines_in_gable(house).await;
    open(house, &mut ines, &here(house)).await;
    house.clock.advance(2 * MINUTE);
    read_air(&mut house.owner(), &house.things.gable, "22", "48").await;
    open(house, &mut ines, &here(house)).await;
    assert_eq!(rows(house).await, 2, "other air");
    open(house, &mut ines, &format!("{}?bead=full", here(house))).await;
    assert_eq!(rows(house).await, 3, "another bead");
    bench(&mut house.owner(), house, &["2.6"], ("22", "45")).await;
    open(house, &mut ines, &here(house)).await;
    assert_eq!((rows(house).await, times(house).await), (4, 4), "something was learned");
});

both_databases!(the_same_air_read_again_is_one_row_and_one_showing_more, async |house| {
    let mut ines = ines_in_gable(house).await;
    open(house, &mut ines, &here(house)).await;
    for times_shown in 2..5 {
        house.clock.advance(2 * MINUTE);
        read_air(&mut house.owner(), &house.things.gable, "22", "45").await;
        open(house, &mut ines, &here(house)).await;
        assert_eq!((rows(house).await, times(house).await), (1, times_shown));
    }
});

both_databases!(a_page_that_fetches_itself_anew_leaves_nothing, async |house| {
    let mut ines = ines_in_gable(house).await;
    let mut alone = ines.clone().with_header("x-unattended", "1");
    for path in ["/".to_owned(), here(house)] {
        open(house, &mut alone, &path).await;
        assert_eq!(rows(house).await, 0, "{path}: nobody need be looking");
    }
    open(house, &mut ines, &here(house)).await;
    house.clock.advance(2 * MINUTE);
    for path in ["/".to_owned(), here(house)] {
        open(house, &mut alone, &path).await;
        assert_eq!((rows(house).await, times(house).await), (1, 1), "{path}");
    }
    open(house, &mut ines, &here(house)).await;
    assert_eq!((rows(house).await, times(house).await), (1, 2), "she looks herself");
});

both_databases!(a_reading_that_only_grows_older_is_no_other_question, async |house| {
    let mut ines = ines_in_gable(house).await;
    house.pass(40, &mut [&mut ines]).await;
    open(house, &mut ines, &here(house)).await;
    house.clock.advance(2 * MINUTE);
    open(house, &mut ines, &here(house)).await;
    assert_eq!((rows(house).await, times(house).await), (1, 2));
});

both_databases!(what_is_only_tried_leaves_nothing, async |house| {
    let mut ines = ines_in_gable(house).await;
    let things = &house.things;
    read_air(&mut house.owner(), &things.lantern, "22", "45").await;
    for path in [
        format!("/rooms/{}/advice", things.lantern),
        format!("{}?artist={}", here(house), things.untimed_artist),
        format!("{}?bottle={}", here(house), things.bottle),
        format!("{}?bead=huge", here(house)),
        format!("/rooms/{}/plan", things.gable),
    ] {
        open(house, &mut ines, &path).await;
        assert_eq!(rows(house).await, 0, "{path}");
    }
    for actor in [Actor::Owner, Actor::Desk, Actor::ArtistB] {
        open(house, &mut house.actor(actor), &advice_of(house, &things.gable)).await;
        assert_eq!(rows(house).await, 0, "{actor:?} looked at the work of somebody else");
    }
    // The same page, plain, is work.
    open(house, &mut ines, &here(house)).await;
    assert_eq!(rows(house).await, 1);
});

both_databases!(where_the_line_is_full_a_page_notes_what_it_showed_itself, async |house| {
    let mut ines = ines_in_gable(house).await;
    for _ in 0..100 {
        let _given_back = house.house.later.leave("nothing", |_| async { Ok(()) });
    }
    let waiting = house.house.later.waiting();
    ines.page(&here(house)).await.says("Heath");
    assert_eq!((rows(house).await, times(house).await), (1, 1), "the page did it");
    ines.page(&format!("{}?bead=full", here(house))).await;
    house.clock.advance(2 * MINUTE);
    ines.page("/").await;
    assert_eq!((rows(house).await, times(house).await), (2, 3), "another question, and the tile of the first");
    assert_eq!(house.house.later.waiting(), waiting, "nobody worked the line off meanwhile");
});

both_databases!(a_write_that_fails_leaves_the_page_as_it_was, async |house| {
    let mut ines = ines_in_gable(house).await;
    open(house, &mut ines, &here(house)).await;
    house.clock.advance(2 * MINUTE);
    // So that nothing but the note is left to be written.
    ines.page("/rooms").await;
    let other = house.hold_the_writer().await;
    let held = (ines.page(&here(house)).await.words(), ines.page("/").await.words());
    jobs::finish(&house.house).await;
    other.close().await.unwrap();
    assert_eq!(times(house).await, 1, "nothing could be written");
    let free = (ines.page(&here(house)).await.words(), ines.page("/").await.words());
    assert_eq!(held, free);
    jobs::finish(&house.house).await;
    assert_eq!((rows(house).await, times(house).await), (1, 2), "and the next is noted again");
});

both_databases!(a_note_waits_for_its_turn_where_pages_would_be_sent_away, async |house| {
    let mut ines = ines_in_gable(house).await;
    // A tile says less than is kept: its note works the answer out, and that takes a turn.
    ines.page("/").await;
    let turns = house.house.thinking.clone();
    let held = [turns.next().await.unwrap(), turns.next().await.unwrap()];
    let pages: Vec<_> = (0..32)
        .map(|_| {
            let turns = turns.clone();
            tokio::spawn(async move { turns.next().await.map(drop) })
        })
        .collect();
    // All of them stand in line before anybody else asks.
    tokio::time::sleep(Duration::from_millis(100)).await;
    assert!(matches!(turns.next().await, Err(Problem::TooMany(_))));
    let own = house.house.clone();
    let mut noted = tokio::spawn(async move { jobs::finish(&own).await });
    assert!(timeout(Duration::from_millis(500), &mut noted).await.is_err(), "it waits");
    drop(held);
    noted.await.unwrap();
    assert_eq!((rows(house).await, times(house).await), (1, 1));
    for page in pages {
        page.await.unwrap().unwrap();
    }
});

both_databases!(a_page_loaded_again_and_again_takes_no_place_in_the_line_from_another_question, async |house| {
    let mut ines = ines_in_gable(house).await;
    for _ in 0..30 {
        assert!(house.house.later.leave("nothing", |_| async { Ok(()) }).is_none());
    }
    for _ in 0..3 {
        ines.page(&here(house)).await;
    }
    // The last place of the line.
    ines.page(&format!("{}?bead=full", here(house))).await;
    jobs::finish(&house.house).await;
    assert_eq!((rows(house).await, times(house).await), (2, 2));
    // Shown again after a minute it is another showing, though the first still waits.
    for _ in 0..2 {
        house.clock.advance(2 * MINUTE);
        ines.page(&here(house)).await;
    }
    jobs::finish(&house.house).await;
    assert_eq!((rows(house).await, times(house).await), (2, 4));
});

both_databases!(whoever_stops_the_house_waits_for_what_its_worker_has_in_hand, async |house| {
    let ((begins, begun), (go, may_go)) = (oneshot::channel(), oneshot::channel::<()>());
    let (done, mut is_done) = oneshot::channel();
    let given_back = house.house.later.leave("something long", move |_| async move {
        begins.send(()).unwrap();
        may_go.await.unwrap();
        done.send(()).unwrap();
        Ok(())
    });
    assert!(given_back.is_none());
    let worker = tokio::spawn(jobs::work_off(house.house.clone()));
    begun.await.unwrap();
    let own = house.house.clone();
    let mut finished = tokio::spawn(async move { jobs::finish(&own).await });
    assert!(timeout(Duration::from_millis(200), &mut finished).await.is_err(), "it is not done yet");
    go.send(()).unwrap();
    finished.await.unwrap();
    assert!(is_done.try_recv().is_ok());
    worker.abort();
});

both_databases!(the_page_shows_what_was_taken_first_and_what_was_shown_after_it_to_whom_it_concerns, async |house| {
    let mut ines = ines_in_gable(house).await;
    open(house, &mut ines, &here(house)).await;
    house.clock.advance(2 * MINUTE);
    open(house, &mut ines, &here(house)).await;
    take(&mut ines, house, &advice_of(house, &house.things.gable)).await;
    let id = house.look("select id from advice_shown").await;
    for browser in [&mut ines, &mut house.owner()] {
        let page = browser.page("/advice").await;
        let text = page.text();
        let place = |what: &str| text.find(what).unwrap_or_else(|| panic!("{what} is not there: {text}"));
        assert!(place("id=\"taken\"") < place("id=\"shown\""));
        assert!(place("id=\"shown\"") < place(&format!("/advice/{id}\"")));
        browser.page(&format!("/advice/{id}")).await.says("four timed placements in two sittings");
    }
    let mut tilde = house.actor(Actor::ArtistB);
    tilde.page("/advice").await.says("None was shown in the last 90 days.");
    tilde.get(&format!("/advice/{id}")).await.must(404);
});

both_databases!(after_ninety_days_what_was_shown_is_forgotten_and_what_was_taken_stays, async |house| {
    let mut ines = ines_in_gable(house).await;
    take(&mut ines, house, &advice_of(house, &house.things.gable)).await;
    let (advice, states) = ("select count(*) from advice", "select count(*) from advice_state");
    let taken = (house.number(advice).await, house.number(states).await);
    bench(&mut house.owner(), house, &["2.6"], ("22", "45")).await;
    open(house, &mut ines, &here(house)).await;
    assert!(house.number(states).await > taken.1, "what was learned since is kept with what was shown");
    house.clock.advance(89 * DAY);
    advice::forget_shown(&house.house).await.unwrap();
    assert_eq!(rows(house).await, 2, "before and after the test");
    house.clock.advance(2 * DAY);
    for _ in 0..2 {
        advice::forget_shown(&house.house).await.unwrap();
        assert_eq!(rows(house).await, 0);
        assert_eq!((house.number(advice).await, house.number(states).await), taken);
    }
});

both_databases!(a_note_that_fails_is_tried_again_until_it_is_written, async |house| {
    let mut ines = ines_in_gable(house).await;
    // So that nothing but the note is left to be written.
    ines.page("/rooms").await;
    let other = house.hold_the_writer().await;
    ines.page(&here(house)).await;
    let worker = tokio::spawn(jobs::work_off(house.house.clone()));
    let waits = async |many: usize| {
        for _ in 0..600 {
            if house.house.later.waiting() == many {
                return;
            }
            tokio::time::sleep(Duration::from_millis(50)).await;
        }
        panic!("there never were {many} waiting");
    };
    waits(0).await;
    // It failed, and waits to be tried again.
    waits(1).await;
    assert_eq!(rows(house).await, 0);
    other.close().await.unwrap();
    for _ in 0..600 {
        if rows(house).await == 1 {
            break;
        }
        tokio::time::sleep(Duration::from_millis(100)).await;
    }
    worker.abort();
    assert_eq!((rows(house).await, times(house).await), (1, 1));
    assert_eq!(house.house.later.given_up(), 0);
    assert_eq!(house.house.later.waiting(), 0);
});

both_databases!(a_house_that_stops_tries_a_note_once_and_counts_what_it_gives_up, async |house| {
    let mut ines = ines_in_gable(house).await;
    ines.page("/rooms").await;
    let other = house.hold_the_writer().await;
    ines.page(&here(house)).await;
    timeout(Duration::from_secs(60), jobs::finish(&house.house)).await.unwrap();
    other.close().await.unwrap();
    assert_eq!((house.house.later.given_up(), house.house.later.waiting()), (1, 0));
    assert_eq!(rows(house).await, 0);
});
