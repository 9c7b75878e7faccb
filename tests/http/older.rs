//! Lists that go on: whatever was kept is found by following them to their end.

use crate::house::both_databases;
use crate::html;
use crate::schema::id;

const MANY: usize = 120;

both_databases!(a_list_that_goes_on_is_read_to_its_end_by_its_own_links, async |house| {
    let things = &house.things.clearance;
    let (product, client) = (&things["product"], &things["dora"]);
    for n in 0..MANY {
        // Several of one instant: the place in the list is then told by the id.
        let (id, at) = (id(950_000 + n), 1_000_000 * (n / 3));
        for row in [
            format!("insert into stop (id, product, lot, at, by_person, why) values ('{id}', '{product}', '', {at}, '', '')"),
            format!(
                "insert into staff_incident (id, person, at, what, lot, first_aid, entered, entered_by)
                 select '{id}', min(id), {at}, 'what {id}', '', '', 1, '' from person"
            ),
            format!(
                "insert into waiting (id, service, short_name, first_visit, from_day, to_day, after_minute, before_minute, note, created)
                 select '{id}', min(id), 'Una V.', 0, '2026-03-01', '2026-03-02', 0, 1440, '', {at} from service"
            ),
            format!(
                "insert into card (id, client, artist, room, kind, lids, begun, closed, entered, entered_by, from_paper, clearance,
                   advised_class, lot, bead, liquids, technique, elsewhere, remover, remover_lot, next_visit, aftercare, hygiene, version)
                 select '{id}', '{client}', min(artist.id), min(room.id), 'infill', 'upper', {at}, {at}, 1, '', 0, '', '', '', 'thin', '',
                   '', 0, '', '', '', 'told', '', 1 from artist, room"
            ),
            format!(
                "insert into photo (id, client, consent, at, taken_by, moment, width, height, picture)
                 select '{id}', client, consent, {at}, taken_by, 'before', 1, 1, picture from photo where id = '{}'",
                house.things.photo
            ),
        ] {
            house.run(&row).await.unwrap();
        }
    }
    let photos = format!("/door/clients/{}/photos", house.things.leaving);
    for (first, shows) in [
        ("/door/stops", "/door/stops/"),
        ("/door/staff-incidents", "what "),
        ("/book/waiting", "/book/waiting/"),
        ("/cards", "/cards/"),
        (photos.as_str(), "/photos/"),
    ] {
        let mut owner = house.owner();
        let (mut here, mut pages, mut seen) = (first.to_owned(), 0, [0; MANY]);
        loop {
            let text = owner.page(&here).await.text();
            for (n, times) in seen.iter_mut().enumerate() {
                *times += usize::from(text.contains(&format!("{shows}{}", id(950_000 + n))));
            }
            pages += 1;
            let links = html::tags(&text);
            let mut links = links.iter().filter(|tag| tag.name == "a").filter_map(|tag| tag.get("href"));
            let Some(next) = links.find(|href| href.contains("?before=") || href.contains("?page=")) else { break };
            next.split('#').next().unwrap().clone_into(&mut here);
            assert!(pages < MANY, "{first} has no end");
        }
        assert!(pages > 1, "{first} is one page");
        assert!(seen.iter().all(|times| *times == 1), "{first}: {seen:?}");
    }
    for odd in ["?before=", "?before=9.", "?before=x.y", "?page=0", "?page=-1", "?page=99999999999999999999"] {
        for list in ["/door/stops", "/door/staff-incidents", "/book/waiting", "/cards", photos.as_str()] {
            house.owner().page(&format!("{list}{odd}")).await;
        }
    }
});
