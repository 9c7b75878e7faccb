//! Advice over HTTP: the same question and answer as the file form, for a program with a read token.

use axum::Json;
use axum::extract::State;
use axum::response::Response;
use utoipa::OpenApi;

use super::file::{self, Answer, Asked};
use crate::base::problem::{FieldNote, Problem};
use crate::web::House;
use crate::web::guard::Reader;
use crate::web::incoming::Message;
use crate::web::routes::Routes;

/// Every door of this part.
#[must_use]
pub fn routes() -> Routes {
    Routes::new().post("/api/v1/advice", advise)
}

/// What this part adds to the API's document.
#[derive(OpenApi)]
#[openapi(paths(advise), components(schemas(Asked, Answer)))]
pub struct AdviceApi;

/// Which cure-speed class and bottle suit these hands in this room, why, and what to change. Nothing is kept.
#[utoipa::path(post, path = "/api/v1/advice", tag = "advice", security(("read token" = [])),
    request_body = Asked,
    responses((status = 200, body = Answer), (status = 400), (status = 401), (status = 403), (status = 413), (status = 422)))]
async fn advise(_reader: Reader, State(house): State<House>, message: Message) -> Result<Response, Problem> {
    let text = String::from_utf8(message.body.to_vec()).map_err(|_| Problem::Unreadable("Not JSON, line 1.".into()))?;
    // A long list of timings takes milliseconds to think over; pages of others must not wait behind it.
    let turn = house.thinking.next().await?;
    let answered = tokio::task::spawn_blocking(move || {
        let _turn = turn;
        file::answer(&text)
    })
    .await
    .map_err(Problem::broken)?;
    let answer = answered.map_err(|refusal| {
        Problem::Mistakes(vec![FieldNote { field: "body".into(), sentence: refusal.to_string() }])
    })?;
    Ok(axum::response::IntoResponse::into_response(Json(answer)))
}
