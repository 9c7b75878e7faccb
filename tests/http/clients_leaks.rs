//! Role × route × field: what a client said of her health, and who she is, stands on no page of somebody it is not meant for.

use crate::clients_rights::{CLEARANCE_MARKS, marked_in_clearance};
use crate::doors::rows;
use crate::house::both_databases;
use crate::matrix::knock;
use crate::studio::Actor;

/// Said in the consultation of the furnished studio, and in no question or wording.
const SAID: &str = "Gentle Fen";

/// Who Ada is, as her second record has it, and how she is reached. Her name the other way round stands in the words beside the search,
/// as an example.
const HERS: [&str; 3] = ["Lovell, Ada", "20 30 40 50", "20304050"];

both_databases!(nothing_of_a_client_stands_on_a_page_of_somebody_it_is_not_meant_for, async |house| {
    let mut pages = 0;
    for actor in Actor::ALL {
        let treats = matches!(actor, Actor::ArtistA | Actor::Owner);
        let receives = actor == Actor::Desk;
        // Pages alone: forms change what the next page holds, and their answers lead to pages.
        for row in rows().iter().filter(|row| row.method == "GET") {
            let answer = knock(&mut house.actor(actor), row, &house.things).await;
            let text = String::from_utf8_lossy(&answer.body);
            pages += 1;
            if !treats {
                assert!(!text.contains(SAID), "{actor:?} reads what she said at {}", row.path);
            }
            if !treats && !receives {
                for word in HERS {
                    assert!(!text.contains(word), "{actor:?} reads “{word}” at {}", row.path);
                }
            }
        }
    }
    assert!(pages > 500, "only {pages} pages were looked at");
    // The test itself looks in the right place: those who treat do read it.
    let page = format!("/door/clients/{}/consultations/{}", house.things.client, house.things.consultation);
    house.actor(Actor::ArtistA).page(&page).await.says(SAID);
});

/// What a result, a hold or a reaction is called where it may be read.
const RESULTS: [&str; 4] = ["doubtful", "no reaction seen in", "reaction, open", "itching"];

both_databases!(nothing_that_clearance_keeps_of_her_stands_on_a_page_of_somebody_it_is_not_meant_for, async |house| {
    let bea = house.things.clearance["bea"].clone();
    let mut owner = house.owner();
    marked_in_clearance(house, &mut owner, &bea).await;
    let newest = async |table: &str, by: &str| {
        house.look(&format!("select id from {table} where client = '{bea}' order by {by} desc limit 1")).await
    };
    let hers = [
        ("{client}", bea.clone()),
        ("{patch_test}", newest("patch_test", "placed").await),
        ("{reaction}", newest("reaction", "noticed").await),
        ("{complaint}", newest("complaint", "at").await),
    ];
    let mut read = [false; CLEARANCE_MARKS.len()];
    let (mut pages, mut about_her) = (0, 0);
    for actor in Actor::ALL {
        let treats = matches!(actor, Actor::ArtistA | Actor::Owner);
        for mut row in rows().into_iter().filter(|row| row.method == "GET") {
            // Photos are Gro's, whose record the furnished studio has them of.
            let is_photo = row.path.contains("/photos");
            if !is_photo {
                row.names.extend(hers.iter().map(|(name, id)| ((*name).to_owned(), id.clone())));
            }
            let answer = knock(&mut house.actor(actor), &row, &house.things).await;
            let text = String::from_utf8_lossy(&answer.body);
            pages += 1;
            for (mark, read) in CLEARANCE_MARKS.iter().zip(&mut read) {
                let is_there = text.contains(mark);
                assert!(treats || !is_there, "{actor:?} reads “{mark}” at {}", row.path);
                *read |= is_there && actor == Actor::ArtistA;
            }
            if treats {
                continue;
            }
            assert!(!is_photo || answer.status != 200, "{actor:?} sees a photo at {}", row.path);
            let words = answer.words();
            if answer.is_page() && (words.contains("Bea H") || row.path.starts_with("/door/clients/{client}/clearance"))
            {
                about_her += 1;
                for word in RESULTS {
                    assert!(!words.contains(word), "{actor:?} reads “{word}” at {}", row.path);
                }
            }
        }
    }
    assert!(pages > 500 && about_her > 5, "{pages} pages, {about_her} about her");
    assert!(read.iter().all(|read| *read), "who treats her reads all of it: {read:?}");
});

both_databases!(nothing_of_a_client_stands_in_what_somebody_else_searches, async |house| {
    for actor in [Actor::ArtistB, Actor::Desk] {
        let mut who = house.actor(actor);
        let csrf = who.csrf().await;
        let mut shown = 0;
        for typed in ["ada", "lovell", "3040", "fen"] {
            let pairs =
                [("csrf", csrf.as_str()), ("form_key", "a-key-of-this-test"), ("typed", typed), ("part", "rows")];
            let answer = who.post("/door/found", &pairs).await.must(200);
            assert!(!answer.text().contains(SAID));
            shown += usize::from(answer.text().contains("Ada Lovell"));
        }
        assert_eq!(shown > 0, actor == Actor::Desk, "{actor:?}");
    }
});
