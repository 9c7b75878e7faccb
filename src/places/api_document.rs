//! The API's document (OpenAPI), put together from the parts and checked against the router by a test.

use axum::Json;
use axum::extract::State;
use utoipa::OpenApi;
use utoipa::openapi::security::{HttpAuthScheme, HttpBuilder, SecurityScheme};

use crate::advice::api::AdviceApi;
use crate::base::problem::Problem;
use crate::rooms::RoomsApi;
use crate::web::House;
use crate::web::guard::Anyone;
use crate::web::routes::Routes;

pub(super) fn routes() -> Routes {
    Routes::new().get("/api/v1/openapi.json", document)
}

#[derive(OpenApi)]
#[openapi(info(
    title = "Stillroom",
    description = "Rooms and their air, and advice on which adhesive suits which hands. \
    A sensor token adds readings of its room; a read token reads rooms and asks for advice. Both are made in Office."
))]
struct Whole;

/// The document, with the base path as its server.
#[must_use]
pub fn whole(base_path: &str) -> utoipa::openapi::OpenApi {
    let mut whole = Whole::openapi();
    whole.merge(RoomsApi::openapi());
    whole.merge(AdviceApi::openapi());
    whole.info.version = env!("CARGO_PKG_VERSION").to_owned();
    whole.servers = Some(vec![utoipa::openapi::Server::new(if base_path.is_empty() { "/" } else { base_path })]);
    if let Some(components) = whole.components.as_mut() {
        for name in ["sensor token", "read token"] {
            let bearer = HttpBuilder::new().scheme(HttpAuthScheme::Bearer).build();
            components.add_security_scheme(name, SecurityScheme::Http(bearer));
        }
    }
    whole
}

async fn document(_anyone: Anyone, State(house): State<House>) -> Result<Json<utoipa::openapi::OpenApi>, Problem> {
    Ok(Json(whole(&house.config.base_path)))
}
