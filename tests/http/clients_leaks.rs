//! Role × route × field: what a client said of her health, and who she is, stands on no page of somebody it is not meant for.

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
