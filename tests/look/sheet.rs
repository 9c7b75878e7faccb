//! Reads the stylesheet as far as the checks need it: which declaration stands under which selector in which block.

use std::collections::BTreeMap;

/// One declaration with where it stands.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(crate) struct Declaration {
    /// The blocks around it from the outside in: "@layer tokens", "@media …", the selector last.
    pub(crate) within: Vec<String>,
    /// "color", "--paper".
    pub(crate) property: String,
    /// Everything after the colon.
    pub(crate) value: String,
}

/// Every declaration of a stylesheet, in its order.
pub(crate) fn declarations(css: &str) -> Vec<Declaration> {
    let mut found = Vec::new();
    let mut within: Vec<String> = Vec::new();
    let mut text = String::new();
    let mut quoted = false;
    for sign in without_comments(css).chars() {
        match sign {
            '"' => {
                quoted = !quoted;
                text.push(sign);
            }
            '{' if !quoted => within.push(squeezed(&std::mem::take(&mut text))),
            '}' | ';' if !quoted => {
                if let Some((property, value)) = text.split_once(':') {
                    let (property, value) = (squeezed(property), squeezed(value));
                    found.push(Declaration { within: within.clone(), property, value });
                }
                text.clear();
                if sign == '}' {
                    within.pop();
                }
            }
            _ => text.push(sign),
        }
    }
    found
}

/// The custom properties of the one block whose last two steps are `outer` (or any) and `selector`.
pub(crate) fn tokens(css: &str, outer: &str, selector: &str) -> BTreeMap<String, String> {
    let stands_there = |declaration: &Declaration| match declaration.within.as_slice() {
        [.., before, last] => last == selector && before == outer,
        _ => false,
    };
    declarations(css)
        .into_iter()
        .filter(|declaration| declaration.property.starts_with("--") && stands_there(declaration))
        .map(|declaration| (declaration.property, declaration.value))
        .collect()
}

fn without_comments(css: &str) -> String {
    let mut kept = String::new();
    let mut rest = css;
    while let Some((before, after)) = rest.split_once("/*") {
        kept.push_str(before);
        rest = after.split_once("*/").map_or("", |(_, later)| later);
    }
    kept + rest
}

fn squeezed(text: &str) -> String {
    text.split_whitespace().collect::<Vec<_>>().join(" ")
}

#[test]
fn declarations_are_found_in_their_blocks() {
    let css = "/* a{b:c} */ @layer x { :root { --paper: #fff; } @media (a: b) { p { color: var(--ink) } } }";
    let found = declarations(css);
    assert_eq!(found.len(), 2);
    assert_eq!(found[0].within, ["@layer x", ":root"]);
    assert_eq!((found[1].property.as_str(), found[1].value.as_str()), ("color", "var(--ink)"));
    assert_eq!(tokens(css, "@layer x", ":root")["--paper"], "#fff");
}
