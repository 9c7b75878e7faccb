//! Keys for programs: shown for a while, revoked for good.

use stillroom::base::time::{MINUTE, SECOND};

use crate::house::both_databases;
use crate::studio::{Actor, new_token};

both_databases!(a_tokens_secret_is_shown_for_ten_minutes_and_then_never, async |house| {
    let mut owner = house.owner();
    let form = owner.form("/office/tokens", "/office/tokens").await.with("name", "clock on the wall");
    let (id, secret) = new_token(&mut owner, &form).await;
    let page = format!("/office/tokens/{id}");
    house.clock.advance(10 * MINUTE - SECOND);
    owner.page(&page).await.says(&secret);
    house.clock.advance(2 * SECOND);
    let later = owner.page(&page).await;
    later.says("can no longer be shown");
    assert!(!later.text().contains(&secret));
    // Shown or not, it opens.
    house.stranger().with_token(&secret).page("/api/v1/rooms").await;
    assert_eq!(
        house.number(&format!("select count(*) from token where secret = '{secret}' or salt = '{secret}'")).await,
        0
    );

    let form = owner.form("/office/tokens", "/office/tokens").await.with("name", "another");
    let (id, secret) = new_token(&mut owner, &form).await;
    let page = format!("/office/tokens/{id}");
    let form = owner.form(&page, &format!("{page}/hide")).await;
    owner.submit(&form).await.must(303);
    assert!(!owner.page(&page).await.text().contains(&secret));
    house.stranger().with_token(&secret).page("/api/v1/rooms").await;
    let form = owner.form(&page, &format!("{page}/revoke")).await;
    owner.submit(&form).await.must(303);
    house.stranger().with_token(&secret).get("/api/v1/rooms").await.must(401);
    owner.page(&page).await.says("It opens nothing any more.");
});

both_databases!(a_token_in_any_other_shape_opens_nothing, async |house| {
    let good = &house.things.read_secret;
    for value in [
        format!("Bearer {good}x"),
        format!("Bearer {}", &good[..good.len() - 1]),
        format!("Basic {good}"),
        good.clone(),
        "Bearer  ".to_owned(),
        "Bearer null".to_owned(),
        format!("Bearer {}", good.to_uppercase()),
        format!("Bearer {}", "x".repeat(5000)),
    ] {
        let mut program = house.stranger().with_header("authorization", &value);
        assert_eq!(program.get("/api/v1/rooms").await.status, 401, "{value}");
    }
    house.stranger().with_header("authorization", &format!("bearer {good}")).page("/api/v1/rooms").await;
    // A session's cookie is no token, and a token is no session.
    house.owner().get("/api/v1/rooms").await.must(401);
    house.actor(Actor::Reader).get("/rooms").await.must(303);
});
