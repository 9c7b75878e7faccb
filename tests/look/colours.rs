//! Contrast, computed from the shipped stylesheet, and no colour anywhere but in its tokens.

use std::collections::BTreeMap;

use crate::CSS;
use crate::sheet::{declarations, tokens};

/// Least contrast of text on its ground (WCAG 2.2, success criterion 1.4.6, level AAA).
const TEXT: f64 = 7.0;
/// Least contrast of marks and of the borders of controls (WCAG 2.2, success criterion 1.4.11).
const MARK: f64 = 3.0;

/// What may stand on what: (foreground, grounds, least ratio). Left out on purpose: ink-2 on zone and any mark's
/// colour as text, which the sheet does not use.
const PERMITTED: &[(&str, &[&str], f64)] = &[
    ("--ink", &["--paper", "--sheet", "--band", "--wash", "--zone"], TEXT),
    ("--ink-2", &["--paper", "--sheet", "--band", "--wash"], TEXT),
    ("--pencil", &["--paper", "--sheet", "--band", "--wash"], TEXT),
    ("--on-go", &["--go"], TEXT),
    ("--paper", &["--ink"], TEXT),
    ("--m-fit", &["--paper", "--sheet", "--band", "--zone"], MARK),
    ("--m-near", &["--paper", "--sheet", "--band"], MARK),
    ("--m-stop", &["--paper", "--sheet", "--band", "--zone"], MARK),
    ("--edge", &["--paper", "--sheet", "--band"], MARK),
    ("--pencil", &["--zone"], MARK),
];

#[test]
fn every_permitted_pair_can_be_read_in_both_lights() {
    for (light, colours) in [("bright", bright()), ("dim", dim())] {
        for (front, grounds, least) in PERMITTED {
            for ground in *grounds {
                let ratio = contrast(&colours[*front], &colours[*ground]);
                assert!(ratio >= *least, "{light}: {front} on {ground} is {ratio:.2}, least {least}");
            }
        }
    }
}

#[test]
fn the_lowest_text_contrast_is_secondary_ink_on_a_chosen_item() {
    let lowest = |colours: &BTreeMap<String, String>| {
        PERMITTED
            .iter()
            .filter(|(_, _, least)| *least >= TEXT)
            .flat_map(|(front, grounds, _)| {
                grounds.iter().map(move |ground| contrast(&colours[*front], &colours[*ground]))
            })
            .fold(f64::INFINITY, f64::min)
    };
    assert_eq!(format!("{:.2} {:.2}", lowest(&bright()), lowest(&dim())), "7.12 7.40");
}

#[test]
fn the_ratio_is_the_one_of_the_standard() {
    assert_eq!(format!("{:.2}", contrast("#000000", "#ffffff")), "21.00");
    assert_eq!(format!("{:.2}", contrast("#767676", "#fff")), "4.54", "the known grey that just passes AA on white");
    assert!(contrast("#777777", "#ffffff") < 4.5);
}

#[test]
fn the_lamp_the_device_asks_for_is_the_lamp_a_person_chooses() {
    let by_device = tokens(CSS, "@media (prefers-color-scheme: dark)", ":root:not([data-light=\"paper\"])");
    assert_eq!(by_device, dim());
    assert_eq!(by_device.len(), 15);
    assert!(by_device.keys().all(|name| bright().contains_key(name)));
}

#[test]
fn colours_stand_in_tokens_only() {
    for declaration in declarations(CSS) {
        if declaration.property.starts_with("--") {
            continue;
        }
        if let Some(word) = colour_in(&declaration.property, &declaration.value) {
            panic!("{:?} {}: {} writes the colour {word}", declaration.within, declaration.property, declaration.value);
        }
    }
}

#[test]
fn a_colour_outside_the_tokens_would_be_found() {
    assert_eq!(colour_in("color", "#fff"), Some("#fff"));
    assert_eq!(colour_in("border-bottom", "1px solid rebeccapurple"), Some("rebeccapurple"));
    assert_eq!(colour_in("background", "rgb(1 2 3)"), Some("rgb(1"));
    assert_eq!(colour_in("border", "2px solid var(--ink)"), None);
    assert_eq!(colour_in("content", "\"red\""), None);
}

/// The first word of a value that is neither a token nor one of the words that are no colour of ours.
fn colour_in<'v>(property: &str, value: &'v str) -> Option<&'v str> {
    const TAKES_COLOUR: &[&str] = &[
        "color",
        "background",
        "background-color",
        "fill",
        "stroke",
        "accent-color",
        "caret-color",
        "box-shadow",
        "text-shadow",
        "text-decoration",
        "text-decoration-color",
        "outline",
        "outline-color",
        "column-rule",
    ];
    const NO_COLOUR: &[&str] = &[
        "none",
        "transparent",
        "inherit",
        "solid",
        "dashed",
        "underline",
        "currentcolor",
        "inset",
        // Colours of the system, where a person has asked for them.
        "Canvas",
        "CanvasText",
        "ButtonText",
        "Highlight",
    ];
    let takes = TAKES_COLOUR.contains(&property)
        || (property.starts_with("border")
            && !["-collapse", "-radius", "-width"].iter().any(|end| property.ends_with(end)));
    if !takes {
        return None;
    }
    value.split_whitespace().find(|word| {
        let is_length = word.starts_with(|first: char| first.is_ascii_digit() || first == '-' || first == '.');
        !(is_length || word.starts_with("var(--") || NO_COLOUR.contains(word))
    })
}

fn bright() -> BTreeMap<String, String> {
    tokens(CSS, "@layer tokens", ":root")
}

fn dim() -> BTreeMap<String, String> {
    tokens(CSS, "@layer tokens", ":root[data-light=\"lamp\"]")
}

/// Contrast of two colours, 1 to 21, as WCAG 2 defines it: (lighter + 0.05) ÷ (darker + 0.05).
fn contrast(one: &str, other: &str) -> f64 {
    let (one, other) = (luminance(one), luminance(other));
    (one.max(other) + 0.05) / (one.min(other) + 0.05)
}

/// Relative luminance of an sRGB colour written #rgb or #rrggbb (WCAG 2, "relative luminance").
fn luminance(colour: &str) -> f64 {
    let digits = colour.strip_prefix('#').expect("a colour written with #");
    let wide: String = if digits.len() == 3 { digits.chars().flat_map(|d| [d, d]).collect() } else { digits.into() };
    let channel = |at: usize| {
        let value = f64::from(u8::from_str_radix(&wide[at..at + 2], 16).expect("hexadecimal digits")) / 255.0;
        if value <= 0.04045 { value / 12.92 } else { ((value + 0.055) / 1.055).powf(2.4) }
    };
    0.2126 * channel(0) + 0.7152 * channel(2) + 0.0722 * channel(4)
}
