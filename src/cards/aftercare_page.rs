//! What she is told for the days after, on a page of the house that everybody may open, and the code that leads there: for a phone held
//! to a print or to the closing page. It holds the studio's sentences and nobody's name.

use askama::Template;
use axum::extract::State;
use axum::http::{HeaderValue, header};
use axum::response::{IntoResponse, Response};
use qrcode::render::svg;
use qrcode::{EcLevel, QrCode};

use super::settings::CardSettings;
use crate::base::problem::Problem;
use crate::web::House;
use crate::web::frame::Frame;
use crate::web::guard::Anyone;
use crate::web::problems::page;
use crate::web::routes::Routes;
use crate::web::studio::{Place, Studio};

pub(super) fn routes() -> Routes {
    Routes::new().get(PATH, show).get("/aftercare.svg", code)
}

/// Where the words stand.
const PATH: &str = "/aftercare";
/// Shortest side of the picture, pixels; drawn with lines, so it is as sharp at any size.
const SIDE: u32 = 240;

/// The code as pages show it: the picture's address, and the address it leads to.
#[derive(Debug, Clone)]
pub(super) struct Code {
    pub(super) src: String,
    pub(super) leads_to: String,
}

impl Code {
    pub(super) fn of(house: &House) -> Self {
        Self { src: house.url("/aftercare.svg"), leads_to: house.config.external(PATH) }
    }
}

#[derive(Template)]
#[template(path = "cards/aftercare.html")]
struct AftercarePage {
    frame: Frame,
    sentences: Vec<String>,
}

async fn show(Anyone(visitor): Anyone, State(house): State<House>) -> Result<Response, Problem> {
    let mut db = house.store.read().await?;
    let studio = Studio::load(&mut db).await?;
    let sentences = CardSettings::load(&mut db).await?.aftercare;
    page(&AftercarePage { frame: house.frame(&studio, &visitor, Place::Nowhere, "After your visit"), sentences })
}

async fn code(_anyone: Anyone, State(house): State<House>) -> Result<Response, Problem> {
    let drawn = drawn(&house.config.external(PATH))?;
    let mut answer = drawn.into_response();
    let headers = answer.headers_mut();
    headers.insert(header::CONTENT_TYPE, HeaderValue::from_static("image/svg+xml"));
    headers.insert(header::CACHE_CONTROL, HeaderValue::from_static("no-cache"));
    Ok(answer)
}

/// The address as a code, black on white with the quiet edge its readers need; a sixth of it may be covered.
fn drawn(address: &str) -> Result<String, Problem> {
    let code = QrCode::with_error_correction_level(address.as_bytes(), EcLevel::M).map_err(Problem::broken)?;
    let picture = code
        .render::<svg::Color<'_>>()
        .min_dimensions(SIDE, SIDE)
        .quiet_zone(true)
        .dark_color(svg::Color("#000000"))
        .light_color(svg::Color("#ffffff"))
        .build();
    Ok(picture)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_longest_address_a_house_may_have_still_fits_and_the_picture_needs_no_style() {
        let short = drawn("https://studio.example/aftercare").unwrap();
        assert!(short.contains("<svg") && !short.contains("style"), "{short}");
        let long = drawn(&format!("https://{}.example/{}/aftercare", "a".repeat(63), "b".repeat(200))).unwrap();
        assert!(long.len() > short.len());
        assert_ne!(drawn("https://other.example/aftercare").unwrap(), short);
    }
}
