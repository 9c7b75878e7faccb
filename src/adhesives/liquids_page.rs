//! Liquids as generic steps: where each goes, what it does, what to mind.

use askama::Template;
use axum::extract::State;
use axum::response::Response;

use super::liquid::{RULES, Step, factor};
use super::set_time::Parameter;
use super::{Liquid, bench_store};
use crate::base::problem::Problem;
use crate::web::House;
use crate::web::frame::Frame;
use crate::web::guard::Staff;
use crate::web::problems::page;
use crate::web::routes::Routes;
use crate::web::studio::{Place, Studio};

pub(super) fn routes() -> Routes {
    Routes::new().get("/shelf/liquids", show)
}

struct StepRow {
    name: &'static str,
    place: &'static str,
    caution: &'static str,
    assumed: String,
    here: String,
}

#[derive(Template)]
#[template(path = "adhesives/liquids.html")]
struct LiquidsPage {
    frame: Frame,
    steps: Vec<StepRow>,
    rules: Vec<String>,
}

async fn show(staff: Staff, State(house): State<House>) -> Result<Response, Problem> {
    let mut db = house.store.read().await?;
    let studio = Studio::load(&mut db).await?;
    let any = bench_store::known(&mut db).await?.any_adhesive();
    let here = |liquid: Liquid| {
        let mut x = super::set_time::Row::zeros();
        x[Parameter::Liquid(liquid).place()] = 1.0;
        factor(any.mean.dot(&x), any.variance_of(&x).max(0.0).sqrt())
    };
    let steps = Step::ALL.map(|step| StepRow {
        name: step.name(),
        place: step.place(),
        caution: step.caution(),
        assumed: times(&studio, step.assumed()),
        here: times(&studio, step.liquid().map(here)),
    });
    page(&LiquidsPage {
        frame: house.frame(&studio, &staff.visitor, Place::Shelf, "Liquids"),
        steps: steps.into(),
        rules: RULES
            .map(|rule| if studio.fahrenheit { rule.replace("20 °C", "68 °F") } else { rule.to_owned() })
            .into(),
    })
}

/// "0.80 times as long, likely 0.62–1.0"; "–" for what has no factor.
fn times(studio: &Studio, factor: Option<(f64, f64, f64)>) -> String {
    factor.map_or_else(
        || "no factor".to_owned(),
        |(best, low, high)| {
            format!(
                "about {} times as long, likely {}–{}",
                studio.number(best, 2),
                studio.number(low, 2),
                studio.number(high, 2)
            )
        },
    )
}
