//! Under a base path: every page reachable from the first one, its links, forms, assets and redirects stay below it.

use std::collections::{BTreeMap, BTreeSet, VecDeque};

use crate::browser::{Answer, Browser};
use crate::doors::rows;
use crate::house::{TestHouse, both_databases};
use crate::html;
use crate::matrix::knock;
use crate::studio::{Actor, PHRASE};

const BASE: &str = "/studio";

fn below(base: &str, address: &str) -> bool {
    address == base || address.strip_prefix(base).is_some_and(|rest| rest.starts_with(['/', '?', '#']))
}

/// Where an address leads that stands on a page at `from`.
fn resolve(from: &str, address: &str) -> String {
    if address.starts_with('/') {
        return address.to_owned();
    }
    if address.starts_with(['?', '#']) || address.is_empty() {
        return format!("{}{address}", from.split(['?', '#']).next().unwrap());
    }
    let folder = from.split(['?', '#']).next().unwrap().rsplit_once('/').unwrap().0;
    let mut parts: Vec<&str> = folder.split('/').collect();
    for part in address.split('/') {
        match part {
            "." | "" => {}
            ".." => drop(parts.pop()),
            part => parts.push(part),
        }
    }
    let folder = if address.ends_with('/') { "/" } else { "" };
    format!("{}{folder}", parts.join("/"))
}

/// Every address an answer holds: on a page, in a stylesheet, in a script, in the manifest.
fn addresses(answer: &Answer) -> Vec<String> {
    let kind = answer.header("content-type");
    let text = || answer.text();
    let between = |text: &str, before: &str, after: char| -> Vec<String> {
        text.split(before).skip(1).filter_map(|rest| rest.split(after).next()).map(str::to_owned).collect()
    };
    let found = if kind.starts_with("text/html") {
        let attributes = ["href", "src", "action", "formaction", "srcset", "data", "poster"];
        let all = html::tags(&text());
        all.iter().flat_map(|tag| attributes.iter().filter_map(|name| tag.get(name).map(str::to_owned))).collect()
    } else if kind.starts_with("text/css") {
        between(&text(), "url(", ')').into_iter().map(|url| url.trim_matches(['"', '\'']).to_owned()).collect()
    } else if kind.starts_with("text/javascript") {
        let text = text();
        [between(&text, "from \"", '"'), between(&text, "import \"", '"'), between(&text, "import(\"", '"')].concat()
    } else if kind.contains("manifest") {
        let manifest = answer.json();
        let icons = manifest["icons"].as_array().unwrap().iter().map(|icon| icon["src"].clone());
        let own = ["start_url", "scope", "id"].into_iter().map(|name| manifest[name].clone());
        icons.chain(own).map(|value| value.as_str().unwrap().to_owned()).collect()
    } else {
        Vec::new()
    };
    let sent_on =
        [answer.location(), answer.header("refresh").split_once("url=").map_or(String::new(), |(_, to)| to.to_owned())];
    found
        .into_iter()
        .chain(sent_on.into_iter().filter(|to| !to.is_empty()))
        .filter(|to| !to.starts_with("data:"))
        .collect()
}

/// Addresses of one page with different queries that are read.
const CHOICES_OF_A_PAGE: usize = 8;

/// Reads everything that can be reached by links; how many addresses that were.
async fn crawl(browser: &mut Browser, base: &str, first: &str) -> BTreeSet<String> {
    let mut seen = BTreeSet::from([first.to_owned()]);
    let mut waiting = VecDeque::from([first.to_owned()]);
    let mut asked: BTreeMap<String, usize> = BTreeMap::new();
    while let Some(path) = waiting.pop_front() {
        let answer = browser.get(&path).await;
        // Addresses of forms are asked for too; a door that takes only what is posted says 405.
        assert!(answer.status < 500 && answer.status != 404, "{path}: {}", answer.status);
        for address in addresses(&answer) {
            assert!(!address.contains("://"), "{path} holds {address}");
            let to = resolve(&path, &address);
            assert!(base.is_empty() || below(base, &to), "{path} holds {address}, which leads to {to}");
            let to = to.split('#').next().unwrap().to_owned();
            // Choices in a query combine without end; some of each page are enough to see that its links hold.
            let page = to.split('?').next().unwrap().to_owned();
            let choices = asked.entry(page).or_insert(0);
            if seen.contains(&to) || (to.contains('?') && *choices >= CHOICES_OF_A_PAGE) {
                continue;
            }
            *choices += 1;
            seen.insert(to.clone());
            waiting.push_back(to);
        }
        assert!(seen.len() < 2000, "the house has no end");
    }
    seen
}

async fn based(house: &TestHouse) -> TestHouse {
    house.configured(|config| config.base_path = BASE.to_owned())
}

both_databases!(nothing_below_a_base_path_leads_out_of_it, async |house| {
    let house = based(house).await;
    let mut reached = BTreeSet::new();
    for actor in [Actor::Owner, Actor::ArtistA, Actor::Accountant, Actor::Anonymous] {
        reached.extend(crawl(&mut house.actor(actor), BASE, BASE).await);
    }
    for page in ["/rooms", "/office/audit", "/office/settings", "/first-aid", "/sign-in", "/manifest.webmanifest"] {
        assert!(reached.contains(&format!("{BASE}{page}")), "{page} was not reached: {reached:?}");
    }
    let assets = reached.iter().filter(|path| path.starts_with(&format!("{BASE}/static/"))).count();
    assert!(assets >= 6, "only {assets} assets were reached");
});

both_databases!(without_a_base_path_every_link_leads_somewhere, async |house| {
    let reached = crawl(&mut house.owner(), "", "/").await;
    assert!(reached.len() > 40, "{reached:?}");
});

both_databases!(forms_below_a_base_path_send_on_below_it, async |house| {
    let house = based(house).await;
    let mut sent_on = 0;
    for row in rows().into_iter().filter(|row| row.method == "POST" && !row.path.starts_with("/claim")) {
        let mut browser = house.actor(row.who_may_or_program());
        let answer = knock(&mut browser, &row, &house.things).await;
        if answer.status == 303 {
            assert!(below(BASE, &answer.location()), "{} leads to {}", row.path, answer.location());
            sent_on += 1;
        }
        for address in addresses(&answer) {
            assert!(below(BASE, &resolve(BASE, &address)) || address.starts_with('#'), "{} holds {address}", row.path);
        }
    }
    assert!(sent_on > 20, "only {sent_on} forms were sent");
});

both_databases!(the_way_in_works_below_a_base_path, async |house| {
    let house = based(house).await;
    let mut browser = house.stranger();
    let to = browser.get("/studio/rooms").await.goes_to();
    assert_eq!(to, "/studio/sign-in?next=%2Frooms");
    let form = browser.form(&to, "/studio/sign-in").await;
    let form = form.with("name", Actor::Desk.name()).with("passphrase", PHRASE);
    assert_eq!(browser.submit(&form).await.goes_to(), "/studio/rooms");
    browser.page("/studio/rooms").await.says("Gable");
    assert_eq!(browser.follow("/studio/").await.must(200).asked, "GET /studio");
    // What is chosen on the first page is chosen below the path as well.
    let first = browser.page("/studio").await;
    let closing = html::tags(&first.text())
        .iter()
        .find_map(|tag| tag.get("href").filter(|href| href.ends_with("moment=closing")).map(str::to_owned));
    let chosen = browser.follow(&closing.unwrap()).await.must(200);
    assert_eq!(chosen.asked, "GET /studio?moment=closing");
    chosen.says(", at closing");
    browser.follow("/studio/?moment=opening").await.must(200).says(", before opening");
    // Outside there is nothing of ours.
    for path in ["/", "/rooms", "/studios", "/studiorooms", "/healthz"] {
        browser.get(path).await.must(404).says("The studio is served under /studio/.");
    }
    browser.page("/studio/healthz").await;
    // Invitations and examples name the whole address.
    let mut owner = house.owner();
    let page = format!("/studio/office/people/{}", house.things.people[crate::studio::INVITED]);
    let shown = owner.page(&page).await;
    shown.says(&format!("http://localhost:8270/studio{}", house.things.invitation));
    let shown = owner.page(&format!("/studio/office/tokens/{}", house.things.sensor_token)).await;
    shown.says("http://localhost:8270/studio/api/v1/rooms/");
    assert_eq!(owner.page("/studio/api/v1/openapi.json").await.json()["servers"][0]["url"], "/studio");
});
