//! Were the forecasts any good: measured set times against what was foretold of them, for the owner.

use askama::Template;
use axum::extract::State;
use axum::response::Response;

use super::forecast::Score;
use super::words;
use crate::adhesives::forecasts::{Forecast, RANKS, newest_forecasts, tally};
use crate::base::chart::{Px, escaped};
use crate::base::problem::Problem;
use crate::web::House;
use crate::web::frame::Frame;
use crate::web::guard::Owner;
use crate::web::problems::page;
use crate::web::routes::Routes;
use crate::web::studio::{Place, Studio};

pub(super) fn routes() -> Routes {
    Routes::new().get("/office/forecast", forecast_page)
}

/// So many of the newest forecasts are listed; all are scored.
const LISTED: i64 = 40;
/// Below so many, a share says little.
const ENOUGH: u64 = 20;

struct Share {
    label: &'static str,
    unit: &'static str,
    value: String,
    against: String,
}

struct Line {
    when: String,
    bottle: String,
    measured: String,
    foretold: String,
    likely: String,
    label: String,
    state: (&'static str, &'static str),
}

#[derive(Template)]
#[template(path = "advice/forecast.html")]
struct ForecastPage {
    frame: Frame,
    lead: String,
    few: String,
    shares: Vec<Share>,
    histogram: String,
    ranks: Vec<(String, String)>,
    lines: Vec<Line>,
}

async fn forecast_page(owner: Owner, State(house): State<House>) -> Result<Response, Problem> {
    let mut db = house.store.read().await?;
    let studio = Studio::load(&mut db).await?;
    let now = owner.visitor.now.0;
    let forecasts = newest_forecasts(&mut db, LISTED).await?;
    let score = Score::of(&tally(&mut db).await?);
    drop(db);
    page(&ForecastPage {
        frame: house.frame(&studio, &owner.visitor, Place::Office, "Forecast and measured"),
        lead: lead(score.as_ref()),
        few: few(score.as_ref()),
        shares: score.as_ref().map(|score| shares(score, &studio)).unwrap_or_default(),
        histogram: score.as_ref().map(histogram).unwrap_or_default(),
        ranks: score.as_ref().map(ranks).unwrap_or_default(),
        lines: forecasts.iter().map(|f| line(f, &studio, now)).collect(),
    })
}

fn lead(score: Option<&Score>) -> String {
    let Some(score) = score else {
        return "No bench test has been made since forecasts are kept.".to_owned();
    };
    let inside = (score.coverage[1].1 * score.count as f64).round();
    format!(
        "Of {} measured set times, {inside:.0} lay in the range called likely; {:.0} would be right.",
        score.count,
        0.8 * score.count as f64
    )
}

fn few(score: Option<&Score>) -> String {
    match score {
        Some(score) if score.count < ENOUGH => format!(
            "Too few to tell: with {} tests these shares may be chance. About {} more would tell.",
            score.count,
            ENOUGH - score.count
        ),
        _ => String::new(),
    }
}

fn shares(score: &Score, studio: &Studio) -> Vec<Share> {
    let of = |at: usize| format!("{:.0}", 100.0 * score.coverage[at].1);
    vec![
        Share {
            label: "Inside half the time",
            unit: "in 100",
            value: of(0),
            against: "50 in 100 would be right".into(),
        },
        Share { label: "Inside likely", unit: "in 100", value: of(1), against: "80 in 100 would be right".into() },
        Share {
            label: "Inside nearly always",
            unit: "in 100",
            value: of(2),
            against: "95 in 100 would be right".into(),
        },
        Share {
            label: "Gain over the label",
            unit: "times",
            value: studio.number(score.log_score_gain.exp(), 1),
            against: "the probability that the label alone gave what was measured; above 1 testing paid".into(),
        },
    ]
}

/// Tenths of what was foretold as columns; level when the doubt is right.
fn histogram(score: &Score) -> String {
    const WIDTH: f64 = 320.0;
    const FOOT: f64 = 110.0;
    let most = score.ranks.iter().copied().max().unwrap_or(1).max(1);
    let even = score.count as f64 / RANKS as f64;
    let high = |count: f64| 84.0 * count / (most as f64).max(even);
    let wide = (WIDTH - 8.0) / RANKS as f64;
    let mut bars = String::new();
    for (at, count) in score.ranks.iter().enumerate() {
        let (x, h) = (4.0 + wide * at as f64, high(*count as f64));
        bars.push_str(&format!("M{} {}h{}v{}h-{}z", Px(x + 2.0), Px(FOOT - h), Px(wide - 4.0), Px(h), Px(wide - 4.0)));
    }
    let level = FOOT - high(even);
    let said = format!(
        "How many measurements fell into each tenth of what was foretold, from quicker to slower: {}",
        tallies(score)
    );
    format!(
        "<svg viewBox=\"0 0 320 148\" role=\"img\" aria-label=\"{}\"><path class=\"device\" d=\"{bars}\"/>\
         <path class=\"ax\" d=\"M4 110H316\"/><path class=\"ln other\" d=\"M4 {}H316\"/>\
         <text x=\"316\" y=\"14\" text-anchor=\"end\">dashed: level, as it should be</text>\
         <text class=\"q\" x=\"4\" y=\"128\">quicker than foretold</text>\
         <text class=\"q\" x=\"316\" y=\"144\" text-anchor=\"end\">slower than foretold</text></svg>",
        escaped(&said),
        Px(level)
    )
}

fn tallies(score: &Score) -> String {
    score.ranks.iter().map(u64::to_string).collect::<Vec<_>>().join(", ")
}

fn ranks(score: &Score) -> Vec<(String, String)> {
    let tenth = |at: usize| match at {
        0 => "1st, quickest".to_owned(),
        1 => "2nd".to_owned(),
        2 => "3rd".to_owned(),
        9 => "10th, slowest".to_owned(),
        n => format!("{}th", n + 1),
    };
    score.ranks.iter().enumerate().map(|(at, count)| (tenth(at), count.to_string())).collect()
}

fn line(f: &Forecast, studio: &Studio, now: crate::base::time::Instant) -> Line {
    let state = match f.place {
        p if (0.1..=0.9).contains(&p) => ("fit", "inside likely"),
        p if (0.025..=0.975).contains(&p) => ("near", "just outside"),
        _ => ("stop", "outside"),
    };
    Line {
        when: studio.zone.date_and_clock(f.at, now),
        bottle: f.name.clone(),
        measured: words::seconds_in(studio.decimal, f.measured),
        foretold: words::seconds_in(studio.decimal, f.foretold.1),
        likely: words::seconds_range_in(studio.decimal, f.foretold.0, f.foretold.2),
        label: words::seconds_in(studio.decimal, f.from_label),
        state,
    }
}
