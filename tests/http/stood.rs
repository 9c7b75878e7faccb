//! The house's own texts and rules: of two owners who change one at once, the second is asked.

use std::collections::BTreeSet;

use crate::doors::fresh_key;
use crate::house::both_databases;

/// The pages, a field of each, and what two owners write in it.
pub(crate) const TEXTS: [(&str, &str, &str, &str); 7] = [
    ("/office/first-aid", "sheets_at", "In the drawer under the sink", "Inside the door"),
    ("/door/questions/lens", "text", "Do you wear lenses today?", "Are there lenses in your eyes?"),
    (
        "/door/consents/treatment",
        "body",
        "Single fibres are bonded to my own lashes, and I may stop at any moment.",
        "Fibres or fans are bonded to my lashes. I may stop whenever I want to.",
    ),
    ("/door/ages", "answers_days", "90", "120"),
    ("/office/clearance", "wait_hours", "72", "96"),
    ("/cards/settings", "aftercare", "Keep them dry for a day.", "Sleep on your back."),
    ("/office/settings", "stale_minutes", "20", "45"),
];

both_databases!(of_two_owners_who_change_one_text_the_second_is_asked, async |house| {
    for (path, field, first, second) in TEXTS {
        let (mut one, mut other) = (house.owner(), house.owner());
        let late = other.form(path, path).await.with(field, second);
        let form = one.form(path, path).await.with(field, first);
        one.submit(&form).await.must(303);

        let answer = other.submit(&late).await.must(409);
        answer.says("Somebody else changed this since you opened it.");
        answer.says(&format!("Stands there now: {first}"));
        let again = answer.form(path);
        assert_eq!(again.value(field), second, "{path}: what she typed is still there");
        assert_eq!(again.value("form_key"), late.value("form_key"), "{path}: its key is still good");
        assert_eq!(other.form(path, path).await.value(field), first, "{path}: nothing was written");
        // One that does not say what it was opened over is asked as well.
        let unsaid = late.clone().with("stood", "").with("form_key", &fresh_key());
        other.submit(&unsaid).await.must(409);
        assert_eq!(other.form(path, path).await.value(field), first, "{path}: nothing was written");

        // She looked, and sends hers in its place; a second press is the same entry.
        let to = other.submit(&again).await.goes_to();
        assert_eq!(other.submit(&again).await.goes_to(), to);
        assert_eq!(other.form(path, path).await.value(field), second);
        // Two who write the same take nothing from each other.
        let (form, same) =
            (one.form(path, path).await.with(field, first), other.form(path, path).await.with(field, first));
        one.submit(&form).await.must(303);
        other.submit(&same).await.must(303);
        assert_eq!(one.form(path, path).await.value(field), first);
    }
});

both_databases!(a_mistake_does_not_make_a_form_look_newer_than_it_is, async |house| {
    for (path, field, wrong) in [
        ("/office/first-aid", "number0", "0123456789012345678901234567890123456789-too-long"),
        ("/door/questions/lens", "group", " "),
        ("/door/consents/treatment", "body", "too short"),
        ("/door/ages", "keep_years", "x"),
        ("/office/clearance", "wait_hours", "x"),
        ("/cards/settings", "zones", "x"),
        ("/office/settings", "currency", "x"),
    ] {
        let (mut one, mut other) = (house.owner(), house.owner());
        let opened = other.form(path, path).await;
        let (_, changed, first, second) = TEXTS.into_iter().find(|text| text.0 == path).unwrap();
        let form = one.form(path, path).await.with(changed, first);
        one.submit(&form).await.must(303);
        let back = other.submit(&opened.with(changed, second).with(field, wrong)).await.must(422).form(path);
        let right = one.form(path, path).await.value(field).to_owned();
        let right = if field == changed { second } else { right.as_str() };
        other.submit(&back.with(field, right)).await.must(409).says(&format!("Stands there now: {first}"));
    }
});

both_databases!(a_question_that_was_changed_meanwhile_is_not_taken_out_by_who_did_not_see_that, async |house| {
    let path = "/door/questions/lens";
    let taking_out = format!("{path}/remove");
    let (mut one, mut other) = (house.owner(), house.owner());
    let late = other.form(path, &taking_out).await;
    let form = one.form(path, path).await.with("text", "Are there lenses in your eyes?");
    one.submit(&form).await.must(303);
    let before = house.number("select count(*) from questionnaire").await;

    let answer = other.submit(&late).await.must(409);
    answer.says("Somebody else changed this since you opened it. It was not taken out");
    let again = answer.form(&taking_out);
    assert_eq!(again.value("form_key"), late.value("form_key"), "its key is still good");
    assert_eq!(answer.form(path).value("text"), "Are there lenses in your eyes?");
    // One that does not say what it was opened over is asked as well.
    let unsaid = late.clone().with("stood", "").with("form_key", &fresh_key());
    other.submit(&unsaid).await.must(409);
    assert_eq!(house.number("select count(*) from questionnaire").await, before, "nothing was taken out");

    // She looked, and takes it out; a second press is the same deed.
    let to = other.submit(&again).await.goes_to();
    assert_eq!(other.submit(&again).await.goes_to(), to);
    assert_eq!(house.number("select count(*) from questionnaire").await, before + 1);
    other.get(path).await.must(404);
});

both_databases!(questions_added_at_once_are_all_asked, async |house| {
    let mut owner = house.owner();
    let mut adding = Vec::new();
    for n in 0..8 {
        let form = owner.form("/door/questions/new", "/door/questions").await;
        let form = form.with_all(&[("group", "Health"), ("then", "Ask more."), ("after", "first")]);
        let (mut who, form) = (owner.clone(), form.with("text", &format!("Question of owner {n}?")));
        adding.push(tokio::spawn(async move { who.submit(&form).await.must(303) }));
    }
    for one in adding {
        one.await.unwrap();
    }
    let kept = house.look("select questions from questionnaire order by version desc limit 1").await;
    let questions: Vec<serde_json::Value> = serde_json::from_str(&kept).unwrap();
    let keys: BTreeSet<_> = questions.iter().map(|question| question["key"].as_str().unwrap()).collect();
    assert_eq!(keys.len(), questions.len(), "two questions go by one name");
    let page = owner.page("/door/questions").await;
    for n in 0..8 {
        page.says(&format!("Question of owner {n}?"));
    }
});
